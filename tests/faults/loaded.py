"""Loads all of the package, so that a command begins at once in a copy of the process that did."""

from __future__ import annotations

import importlib
import pkgutil

import chanbridge

for module in pkgutil.walk_packages(chanbridge.__path__, "chanbridge."):
    if not module.name.endswith("__main__"):
        importlib.import_module(module.name)

"""One neutral channel map for live sound and broadcast."""

__version__ = "0.1.0"

"""Timings, run on demand: `python -m tests.bench`. Ratios to a baseline measured in the same run."""

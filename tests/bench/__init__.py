"""Measurements, each a ratio against a baseline of the same run: `python -m tests.bench`."""

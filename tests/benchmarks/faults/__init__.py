"""The fault campaign: many faults, counted. ``python -m tests.benchmarks.faults [PART …]``."""

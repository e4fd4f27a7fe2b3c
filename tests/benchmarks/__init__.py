"""Benchmarks that print ratios to the bare driver in the same run: ``python -m tests.benchmarks``."""

"""Benchmarks: accuracy and timings (make bench)."""

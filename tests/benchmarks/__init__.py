"""Measured figures: accuracy, speed, the finder's held-out score (`python -m tests.benchmarks`)."""

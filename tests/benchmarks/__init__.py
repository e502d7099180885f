"""Measured figures: accuracy, speed and the finder's held-out score (`python -m tests.benchmarks`)."""

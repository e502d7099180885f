"""Scenes with exact truth, drawn for tests, benchmarks and training."""

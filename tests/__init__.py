"""Tests, and the scenes that they are drawn from."""

"""Where an oven bakes otherwise, and whether oven or hand did it."""

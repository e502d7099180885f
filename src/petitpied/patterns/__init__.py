"""Patterns over bakes: oven, hand or chance. Pure: bakes in, findings out."""

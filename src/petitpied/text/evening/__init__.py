"""Words of an evening: its answer on one screen, and the one thing to change."""

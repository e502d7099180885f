"""Options that several commands share, and their checks."""

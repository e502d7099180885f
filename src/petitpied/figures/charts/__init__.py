"""Charts and maps."""

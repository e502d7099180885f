"""Statistics: gauge study, agreement, summary of a tray, tests over bakes."""

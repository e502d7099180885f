"""The handbook: one page a task, in Markdown; the command line, and whoever else, shows it."""

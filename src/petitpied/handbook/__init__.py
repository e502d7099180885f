"""Pages for bakers, one a task, as Markdown."""

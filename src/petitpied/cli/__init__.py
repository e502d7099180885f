"""One module a command; heavy imports stand inside the functions, so that help comes fast."""

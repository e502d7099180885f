"""One evening of a kitchen: what it is like (`kitchen.toml`), and what to change next."""

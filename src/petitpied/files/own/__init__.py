"""The baker's own small files, and what the program remembers for them."""

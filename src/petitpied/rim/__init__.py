"""Everything that touches the world: files, screen, clock, processes."""

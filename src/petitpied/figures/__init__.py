"""Pictures: one look, lettering and fonts."""

"""The history: every bake's record and facts, in one database."""

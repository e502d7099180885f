"""Records, lots of them, tables and judgements, as files."""

"""Commands of one evening: the kitchen set up once, each evening's trays by one command."""

"""Commands over bakes: history, oven maps, trends, causes."""

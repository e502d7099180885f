"""Small shared mathematics: arrays in, arrays out, nothing of ours known."""

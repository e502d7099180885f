"""What things are: plain values, no files, no pixels read."""

"""Mean colour of each cap as if it faced upward, what mirrors taken out; browning."""

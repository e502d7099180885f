"""Commands that measure, and say how well: photos, cards, lens, judgements."""

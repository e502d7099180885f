"""Pages printed at true scale: cards, the lens chart, piping sheets."""

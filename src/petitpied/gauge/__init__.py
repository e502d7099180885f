"""How well a set-up measures: the same tray photographed again and again."""

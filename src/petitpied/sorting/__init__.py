"""Pure core of sorting: limits and verdicts, pairs, boxes, lot checks."""

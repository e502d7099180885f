"""Commands on a lot of shells: limits, sorting, pairs, boxes, report."""

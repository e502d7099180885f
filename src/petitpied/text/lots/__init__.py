"""Sentences about sorting, pairs, boxes, labels and large lots."""

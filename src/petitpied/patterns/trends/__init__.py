"""Bakes in order of time: control charts, changes, what goes along with what."""

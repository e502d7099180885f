"""Edges along rays, and two rings a shell fitted to them, at their heights."""

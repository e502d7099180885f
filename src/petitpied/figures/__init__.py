"""Drawings in true units, how they are written (SVG, PNG, JPEG, PDF), one look, fonts."""

"""Drawings in true units, and how they are written: SVG, PNG, JPEG and PDF."""

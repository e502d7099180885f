"""From rings to sizes, and from geometry and edge scatter to their uncertainty."""

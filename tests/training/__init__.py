"""Training of the finder's network; development only, never imported by the package."""

"""Commands before the bake: piping sheets, amounts."""

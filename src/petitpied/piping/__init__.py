"""Before the bake: what to pipe, how far apart, and how much batter to make. Pure."""

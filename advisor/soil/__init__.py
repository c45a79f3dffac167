"""The soil under a lawn: its texture, its water, what runs off it and how warm it is."""

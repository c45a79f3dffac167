"""Keeping score of the forecasts of one site: what was said, what came, and who said it better. Layer 5, no I/O."""

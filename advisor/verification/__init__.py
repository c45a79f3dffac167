"""Keeping score of forecasts: probabilities (Brier), whole distributions (CRPS), and what a forecast is worth."""

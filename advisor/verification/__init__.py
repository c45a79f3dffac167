"""Keeping score of forecasts: probabilities (Brier), distributions (CRPS), and what a forecast is worth."""

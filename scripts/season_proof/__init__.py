"""A season of the real service in minutes, with a scripted weather; see scripts/simulate_season.py."""

"""Campaigns of faults, attacks and bad input; `scripts/harden` runs them and prints one table."""

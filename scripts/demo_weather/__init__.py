"""Invented weather for the demonstration households, in the shape of a provider's answer."""

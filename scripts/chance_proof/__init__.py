"""Proof that the stated chances are true, against real forecasts and real weather."""

"""Formulas of the air over the lawn: moisture, radiation, evapotranspiration, wind, stability, wet leaves.

Pure functions on numpy arrays in SI units (degC, kPa, %, m/s, m, mm, MJ m-2), broadcasting over any shape.
NaN in gives NaN out; nothing here raises on missing weather.
"""

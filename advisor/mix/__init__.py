"""The mix: calibration, product, carrier and adjuvant for a pass."""

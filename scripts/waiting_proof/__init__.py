"""Go-or-wait against simpler policies, on a year of real weather with forecasts that sharpen as days come near."""

"""Rain: the chance that a span stays dry, and what rain takes off a treated leaf."""

"""Spray that leaves the lawn: where it lands, how fast drops fall and how soon they dry up."""

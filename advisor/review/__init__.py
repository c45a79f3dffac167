"""Looking back at a pass: whether the weather kept its word, and what became of the weeds."""

"""Growth: heat sums, when weeds come up, and which weeds are young enough to treat."""

"""Records of what was applied: what must stand in one, what is doubtful about it, and until when it is owed."""

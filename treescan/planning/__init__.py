"""Floor 6, planning: candidates, reach, scores and the order of access."""

"""Floor 2, ground and single trees: the terrain, the asked tree, and what stands beside it."""

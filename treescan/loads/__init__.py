"""Floor 5, loads: the rope's way through the tree, the forces it brings, what the wood makes of them, and
what catches next."""

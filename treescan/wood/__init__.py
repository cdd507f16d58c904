"""Floor 3, the wood graph: limbs, unions, diameters and how sure each of them is."""

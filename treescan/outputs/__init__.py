"""Floor 8, outputs: the files people open, print and load elsewhere. Nothing here computes an answer; it only shows them."""

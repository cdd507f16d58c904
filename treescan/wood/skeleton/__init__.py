"""Along which ways does the wood run from the foot, and where does it go on behind a gap?"""

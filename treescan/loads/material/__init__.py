"""How strong is the wood, of this species, at this union, with these defects?"""

"""How sure is a margin, and how likely is it that the wood breaks?"""

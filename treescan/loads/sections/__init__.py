"""Where are the sections of the tree, what stresses them, and how far do they give?"""

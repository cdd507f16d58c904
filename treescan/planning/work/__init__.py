"""Where must hands get to, and what does each cut take away?"""

"""Where must hands get to, and where does the saw go?"""

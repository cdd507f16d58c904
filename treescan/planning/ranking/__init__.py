"""Which tie-in point first, and why?"""

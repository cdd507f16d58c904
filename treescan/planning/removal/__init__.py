"""What does each cut take away, what holds meanwhile, and where does the piece go?"""

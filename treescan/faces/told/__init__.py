"""What does the terminal say: how far, what was seen, what came of it?"""

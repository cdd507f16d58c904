"""Where is the ground?"""

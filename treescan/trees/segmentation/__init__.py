"""Where do trees stand, and which points are whose?"""

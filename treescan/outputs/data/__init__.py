"""Which numbers go into which file?"""

"""Which way up, in what order, with which line first?"""

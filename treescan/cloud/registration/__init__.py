"""How do several scans of one tree become one?"""

"""Does this anchor, redirect or line hold?"""

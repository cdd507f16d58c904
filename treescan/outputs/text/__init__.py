"""How is everything said?"""

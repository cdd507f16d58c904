"""How are points in a text file read?"""

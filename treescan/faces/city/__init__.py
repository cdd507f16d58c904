"""How are many trees planned on many machines, stopped at any moment and gone on with?"""

"""How does a whole city of trees stand on a map, in tables and in work packages?"""

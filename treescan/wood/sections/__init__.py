"""How thick is one piece of limb, and where is its axis?"""

"""How does a drawing look, on page and paper?"""

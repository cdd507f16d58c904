"""Which points hang together, and what do they look like: line, sheet, twig or leaf?"""

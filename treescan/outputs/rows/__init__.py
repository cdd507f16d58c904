"""Which rows do page, sheet and files have in common?"""

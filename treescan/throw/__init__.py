"""Floor 4, the throw path: can a line be set over this union from where one may stand, and what else does it catch?"""

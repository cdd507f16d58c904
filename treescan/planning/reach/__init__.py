"""How much of the work does an anchor serve, past what, and how near to what must be kept away from?"""

"""Which points of many tiles lie round a place?"""

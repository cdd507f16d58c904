"""Which few tie-in points serve all the work, alone or two by two on different wood?"""

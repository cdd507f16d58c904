"""Which trees stand in a city of tiles, and what is the scan of each fit for?"""

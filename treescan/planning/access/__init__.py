"""Which way up, in what order, and with what gear?"""

"""What do the loads of one configuration do to the wood where its rope comes to lie?"""

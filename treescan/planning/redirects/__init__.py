"""What does a redirect bring into reach, and does the wood hold it?"""

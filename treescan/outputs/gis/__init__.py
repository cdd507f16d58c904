"""What does a map show, and which inventory record is which tree?"""

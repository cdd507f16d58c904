"""What happens to a file on its way in, and what about it is hard to believe?"""

"""What stands on the page?"""

"""What stands on the crew's sheet?"""

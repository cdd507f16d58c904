"""What did the user draw, list or state in files of their own?"""

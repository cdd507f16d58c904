"""What was asked for on the command line, and what came of it?"""

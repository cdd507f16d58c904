"""What does one throw look like in full: its flight, the line at rest, the steps, the opening, what stops it?"""

"""What can a flight meet, and where may one stand?"""

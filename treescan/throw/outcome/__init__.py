"""What becomes of one throw?"""

"""What catches if it fails?"""

"""Which way does the rope run, and with what force does it press where?"""

"""What is the scan fit for, on the whole and limb by limb?"""

"""What does a load do to every section on its way to the ground, and how sure is that?"""

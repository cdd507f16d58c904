"""How is each binary file format read, and what kind of file is this?"""

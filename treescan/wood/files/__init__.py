"""How is a traced tree kept on disk?"""

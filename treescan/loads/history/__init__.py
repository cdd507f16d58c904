"""What has the tree borne already, and how much surer is the wood for it?"""

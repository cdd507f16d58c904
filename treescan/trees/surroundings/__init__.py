"""What stands beside the tree: walls, wires, posts, foliage?"""

"""What are axis, thickness and error of every limb, from all its points?"""

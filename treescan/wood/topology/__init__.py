"""Which pieces make one limb, where do limbs join, and what is not wood at all?"""

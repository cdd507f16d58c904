"""Where do limbs, ropes and views lie, as shapes to draw?"""

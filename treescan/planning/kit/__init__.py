"""What goes into the truck and between rope and wood, and does the rope come down again?"""

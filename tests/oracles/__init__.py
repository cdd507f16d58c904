"""Second hand: solved cases and reference solutions from physics alone, without a line of the product.

Nothing here imports the product. Each module answers one question with plain arguments and results (SI),
names its equations and their source, and is itself checked against closed forms in the test file of the same
name. A product test imports from here (`from oracles.chain_of_falls import ...`) and compares.

chain_of_falls      a limb breaks, the rope drops from limb to limb: who catches, with what force
rigid_fall          the same with a body, a taut string and limbs, integrated from first break to rest
abrupt_stop         slack, speed and modulus: the peak at the climber and on the anchor
swing_with_body     lowest feet, speeds and rope force of a swing
tie_in_stiffness    stiffness, frequency, amplification and large turning of the limb under the rope
isotropic_thrower   chance of a throw through a window, scatter alike in every direction, wind
section_strength    transverse tension in curved limbs, interaction of stresses, what unions keep
twelve_cut_removal  a tree, a site and twelve cuts: masses, distances, drops and alarms of every stage
"""

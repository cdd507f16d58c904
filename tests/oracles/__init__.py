"""Second hand: solved cases and reference solutions written from physics alone, without a line of the
product.

Nothing here imports the product. Each module answers one question with plain arguments and plain results
(SI), names its equations and their source, and is itself checked against closed forms in the test file of the
same name. A product test imports from here (`from oracles.chain_of_falls import ...`) and compares.
"""

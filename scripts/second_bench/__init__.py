"""The second bench: trees, bark, streets and instruments, written without sight of how treescan reads a scan.

It shares no code with `made_up` and `accuracy`, and judges what `tree.json` and `surroundings.json` say,
never an object of treescan.
Shape figures without a source named beside them are common practice or botany from memory.
"""

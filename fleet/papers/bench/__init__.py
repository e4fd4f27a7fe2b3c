"""The engineering bench: one function per calculation, from what was asked to what is answered.

Commands and pages ask here, so that both give the same figures, words, cautions and sources. A calculation
names the register only through what its face may see of it (``Asked.register``).
"""

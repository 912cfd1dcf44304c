"""The same meaning as formulas: circuits, the encoding, and the seams to the solvers."""

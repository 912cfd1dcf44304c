"""The meaning of an arrangement as formulas, for solvers."""

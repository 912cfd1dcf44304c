"""The seams to the solvers."""

"""bandproof: proves, or refutes with a drawn counterexample, what a compressed-air control arrangement does."""

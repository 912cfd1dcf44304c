"""Second opinions: decision diagrams and z3, on the same problems as the engines."""

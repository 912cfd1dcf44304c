"""Second opinions: enumeration, k-induction, decision diagrams and z3, on the same problems as the engines."""

"""A claim's search problem in forms that other engines read."""

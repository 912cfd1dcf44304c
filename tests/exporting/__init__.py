"""Exported problems, read by a reader of their own and played against the executable machine."""

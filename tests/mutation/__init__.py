"""The meaning broken clause by clause: each break must be seen by a test."""

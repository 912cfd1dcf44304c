"""From claims to findings: one arrangement, many in workers, what is left on disk."""

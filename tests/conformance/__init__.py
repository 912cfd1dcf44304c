"""Tiny arrangements with hand-proved verdicts, run by every engine."""

"""Findings and arrangements as text and pictures; pure functions, no engines."""

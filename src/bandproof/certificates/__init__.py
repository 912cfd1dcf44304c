"""Proofs as text, and the checking of them; no engine is imported here."""

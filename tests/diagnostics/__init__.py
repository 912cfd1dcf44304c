"""Diagnostics: the catalogue of codes, and how a diagnostic looks."""

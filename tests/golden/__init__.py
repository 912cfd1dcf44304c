"""Whole outputs, kept as files and compared to the letter."""

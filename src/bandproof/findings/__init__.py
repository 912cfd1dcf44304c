"""Answers as plain values, the limits of an answer, and how both are kept."""

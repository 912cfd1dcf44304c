"""The condition language: text to nodes with positions, and back."""

"""What an arrangement *does*: the executable meaning, stepping, stories."""

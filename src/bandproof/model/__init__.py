"""What an arrangement *is*: frozen values, the file format, the loader."""

"""Flow through passages by ISO 6358, in exact bounds."""

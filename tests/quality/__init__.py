"""Whether results are good, not only right."""

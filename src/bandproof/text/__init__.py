"""Reading and naming: places in files, units, diagnostics and their catalogue."""

"""What makes a run of bands concrete: pressures for it."""

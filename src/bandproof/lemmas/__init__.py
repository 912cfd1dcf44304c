"""Reasons that exclude runs of the bands which no air could run."""

"""Checks of the flow law, and of the band machine against the continuous model."""

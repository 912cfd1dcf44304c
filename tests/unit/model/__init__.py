"""Tests of what an arrangement is."""

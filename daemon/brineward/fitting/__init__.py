"""Fits the physics to the published values; anyone can run it again."""

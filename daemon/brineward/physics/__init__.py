"""Brine physics: pure functions in SI, with their uncertainty. Imports nothing of ours."""

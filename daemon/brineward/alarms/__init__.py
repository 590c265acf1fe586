"""Conditions, and the life of an alarm. Pure."""

"""Bytes to readings: the only place that knows payload formats."""

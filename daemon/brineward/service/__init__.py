"""Wires the parts; the only place that names an adapter."""

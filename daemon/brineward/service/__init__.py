"""Wires everything together; the only place that names an adapter."""

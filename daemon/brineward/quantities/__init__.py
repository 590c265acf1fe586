"""Quantities at the edge: text such as "172 mS/cm" to SI and back. Imports nothing of ours."""

"""The plant: what a depot is made of, and what it is doing now. Pure."""

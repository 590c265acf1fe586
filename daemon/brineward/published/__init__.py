"""Published values, each with its source, and how to read them."""

"""The config file: read once, and every mistake reported at once."""

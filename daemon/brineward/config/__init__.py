"""The config file: read once, every mistake at once."""

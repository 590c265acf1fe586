"""The command line: `brinesim run`, `write`, `plot`, `list`, `score`."""

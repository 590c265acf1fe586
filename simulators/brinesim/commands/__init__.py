"""The command line of `brinesim`."""

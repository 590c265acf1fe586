"""Export: the journal's series to a server that keeps them for years, and to files."""

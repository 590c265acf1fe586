"""Export: the series out of the journal, to a server that keeps them for years and to files."""

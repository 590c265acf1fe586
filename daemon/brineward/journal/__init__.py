"""The journal: SQLite, one transaction a batch."""

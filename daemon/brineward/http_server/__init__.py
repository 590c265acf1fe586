"""The only HTTP server here: who listens where, with limits on slow callers."""

"""The engine: entries in, outputs out; a pure function of its past."""

"""The one HTTP server of the house: who listens where, with bounds on callers that dawdle."""

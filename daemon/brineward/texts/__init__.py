"""The outbox follower and its channels."""

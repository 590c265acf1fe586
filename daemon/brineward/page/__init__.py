"""One page for people, on a phone: how the depot is, and a thumb to take an alarm.

It asks `records`, says what is in `sentences.toml`, and acts through a `Desk` that the service
gives it. It works without JavaScript; what is live comes as server-sent events.
"""

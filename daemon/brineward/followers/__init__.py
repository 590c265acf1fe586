"""Followers: what reads the journal at its own pace and hands on, and loses nothing."""

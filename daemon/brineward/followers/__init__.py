"""Followers: programs that read the journal at their own pace, pass it on, and lose nothing."""

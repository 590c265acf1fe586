"""Sentences and texts for people: GSM 03.38, one segment, local time, own units. Pure."""

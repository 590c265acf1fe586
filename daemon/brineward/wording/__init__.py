"""Sentences and texts for people: the GSM 03.38 alphabet, one segment, local time, own units. Pure."""

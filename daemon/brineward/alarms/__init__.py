"""Every alarm, a module each: its record, how it is judged, what people read of it. Pure."""

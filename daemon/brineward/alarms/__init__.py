"""Every alarm, a module each: its record, where a depot has it, how it is judged, its words. Pure."""

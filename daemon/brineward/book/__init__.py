"""The alarm book: what each alarm of a depot is now, by ISA-18.2 / IEC 62682. Pure."""

"""The vocabulary: the readings, entries and outputs that the other packages exchange.

Values only; imports nothing of ours. Times are integer milliseconds since 1970 UTC (`Instant`);
quantities are SI (m, m3, kg, kelvin differences and degC for temperatures, S/m, mass fraction).
"""

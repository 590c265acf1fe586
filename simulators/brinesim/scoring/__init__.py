"""The scorecard: many seeded runs through the watchman as a separate program, judged by truth."""

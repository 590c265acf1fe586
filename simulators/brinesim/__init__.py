"""brinesim: a brine depot on a laptop, an independent witness for brineward."""

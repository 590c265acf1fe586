"""brinesim: a brine depot on a laptop, an independent check on brineward."""

"""brineward: watches an unattended salt-brine depot and texts whoever is on call."""

__version__ = "0.1.0"

"""Brokers for the tests of the link."""

from brokers import embedded, mosquitto

__all__ = ["embedded", "mosquitto"]

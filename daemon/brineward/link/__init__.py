"""The link to the broker: receives MQTT messages, hands them on, acknowledges when told to.

It knows no payload, no database and no alarm. One network thread speaks with the broker; one
worker thread takes what arrived and, once it is committed, acknowledges it.
"""

from brineward.link.inbox import Arrival
from brineward.link.link import Link, LinkFailed
from brineward.link.messages import Message, Token

__all__ = ["Arrival", "Link", "LinkFailed", "Message", "Token"]

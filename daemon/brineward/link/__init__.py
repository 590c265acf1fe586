"""The link to the broker: receives MQTT messages, hands them on, acknowledges them when told to.

It knows no payload, no database and no alarm. One network thread talks to the broker; one worker
thread takes what arrived and acknowledges it once it is committed.
"""

from brineward.link.inbox import Arrival
from brineward.link.link import Link, LinkFailed
from brineward.link.messages import Message, Token

__all__ = ["Arrival", "Link", "LinkFailed", "Message", "Token"]

"""What is no mistake in a config file and still worth a second look."""

from ipaddress import ip_address
from urllib.parse import urlsplit

from brineward.config.settings import HttpChannel, Settings


def remarks_on(settings: Settings) -> tuple[str, ...]:
    """Sentences for whoever wrote the file; empty where nothing stands out."""
    found: list[str] = []
    link = settings.link
    if link.tls is None and link.password is not None and not _is_this_machine(link.host):
        found.append(f"The broker's password goes to {link.host} unencrypted; [link.tls] mends it.")
    for channel in settings.channels.values():
        if isinstance(channel, HttpChannel) and channel.url.startswith("http:"):
            host = urlsplit(channel.url).hostname or ""
            if not _is_this_machine(host):
                found.append(f"Texts by {channel.id} go to {host} unencrypted; use https.")
    on_call = {person for plan in settings.depots.values() for person in plan.duty.on_call}
    found += [
        f"{person.name} ({person.id}) is on call at no depot."
        for person in settings.people.values()
        if person.id not in on_call
    ]
    found += [
        f"At {plan.name} nobody is woken after {settings.people[plan.duty.on_call[0]].name}: "
        "one missed text, and nobody comes."
        for plan in settings.depots.values()
        if len(plan.duty.on_call) == 1
    ]
    found += [
        f"{plan.name} has no sensors: nothing is watched there."
        for plan in settings.depots.values()
        if not plan.sensors
    ]
    return tuple(found)


def _is_this_machine(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False

"""What is not a mistake in a config file but weakens the watch: one small function for each."""

from collections.abc import Iterator
from ipaddress import ip_address
from urllib.parse import urlsplit

from brineward.alarms.registry import CATALOGUE
from brineward.config.channel_kinds import ModemChannel, PushChannel
from brineward.config.fields import is_phone_number
from brineward.config.phone_numbers import impossible_number
from brineward.config.settings import HttpChannel, Settings
from brineward.physics.liquid_lines import WARMEST_C, most_liquid
from brineward.plant.plan import DepotPlan, Measure, VesselKind
from brineward.readings.outputs import Priority
from brineward.wording.operator_units import duration, level, percent, temperature

LONG_TO_NEXT_SECONDS = 3_600.0
LONG_SILENCE_SECONDS = 3_600.0
LONG_DELAY_SECONDS = 600.0
"""For an alarm of high priority whose time to respond is none fixed. All three are common practice,
no source: the gravest alarms leave minutes."""

_FREEZING_C = 0.0


def remarks_on(settings: Settings) -> tuple[str, ...]:
    """Sentences for whoever wrote the file: why, and what to do; empty if nothing is wrong."""
    found = [remark for look in _LOOKS_AT_FILE for remark in look(settings)]
    for plan in settings.depots.values():
        found += [remark for look in _LOOKS_AT_DEPOT for remark in look(settings, plan)]
    return tuple(found)


# -- the file as a whole


def _password_in_the_clear(settings: Settings) -> Iterator[str]:
    link = settings.link
    if link.tls is None and link.password is not None and not _is_this_machine(link.host):
        yield f"The broker's password goes to {link.host} unencrypted; add [link.tls]."


def _texts_in_the_clear(settings: Settings) -> Iterator[str]:
    for channel in settings.channels.values():
        if isinstance(channel, HttpChannel) and channel.url.startswith("http:"):
            host = urlsplit(channel.url).hostname or ""
            if not _is_this_machine(host):
                yield f"Texts by {channel.id} go to {host} unencrypted; use https."


def _on_call_nowhere(settings: Settings) -> Iterator[str]:
    on_call = {person for plan in settings.depots.values() for person in plan.duty.on_call}
    for person in settings.people.values():
        if person.id not in on_call:
            yield f"{person.name} ({person.id}) is on call at no depot: nothing is texted there."


def _no_phone_number(settings: Settings) -> Iterator[str]:
    for person in settings.people.values():
        channel = settings.channels[person.channel]
        texted = isinstance(channel, HttpChannel) and person.address and not person.mail
        if texted and not is_phone_number(person.address):
            yield (
                f'{person.name} is texted at "{person.address}", which is not a phone number: '
                f"right only if the gateway of {channel.id} knows such names. Otherwise write a "
                "plus sign, the country code and the number."
            )


def _number_that_cannot_be(settings: Settings) -> Iterator[str]:
    """A remark and no mistake: plans of numbers change, and what is known of them grows old."""
    for person in settings.people.values():
        why = impossible_number(person.number or person.address)
        if why:
            yield (
                f"{person.name}'s number can't be valid: {why}. Check it digit by digit; if it "
                "is right, ignore this."
            )


def _one_number_twice(settings: Settings) -> Iterator[str]:
    owners: dict[str, str] = {}
    for person in settings.people.values():
        if is_phone_number(person.address):
            other = owners.setdefault(person.address, person.name)
            if other != person.name:
                yield (
                    f"{other} and {person.name} have the same number: there is no second phone, "
                    "and their replies can't be distinguished. Give each their own."
                )


def _no_way_to_reply(settings: Settings) -> Iterator[str]:
    channels = [settings.channels[person.channel] for person in settings.people.values()]
    by_modem = any(isinstance(one, ModemChannel) for one in settings.channels.values())
    by_http = any(isinstance(one, HttpChannel) for one in channels)
    by_topic = settings.reply_topic is not None
    if settings.replies is None and by_http and not (by_modem or by_topic):
        yield (
            "People who are texted can't reply: an alarm can only be taken with `brineward take`, "
            "and until then the next person is woken. [replies] lets people answer, if the gateway "
            "hands over what they text."
        )


def _nobody_sees_what_arrives(settings: Settings) -> Iterator[str]:
    """A gateway that accepts a text has not delivered it yet."""
    used = {name for person in settings.people.values() for name in person.channels}
    for name, channel in settings.channels.items():
        if name in used and isinstance(channel, HttpChannel) and channel.receipts is None:
            also = "" if settings.replies is not None else ", beside a [replies] table"
            yield (
                f"Channel {name} has no receipts: if its gateway accepts texts and delivers none, "
                "they count as sent, the next channel is not tried, and no alarm says so. If the "
                f"gateway can report what it delivered, add [channels.{name}.receipts]{also}; if "
                "it can't, have a weekly_test sent, and answer it."
            )


def _page_in_the_clear(settings: Settings) -> Iterator[str]:
    page = settings.page
    if page is None or page.certificate_file is not None or _is_this_machine(page.listen_host):
        return
    if page.proxy is None or _is_this_machine(page.proxy):
        yield (
            f"The page is served on {page.listen_host} unencrypted: anybody on that network can "
            "read the code of whoever signs in, and act as them. Add certificate_file and "
            'key_file, or leave out host and put a proxy with TLS before it (proxy = "127.0.0.1").'
        )


def _replies_where_no_sensor_is(settings: Settings) -> Iterator[str]:
    """A broker with an access list grants any subscription, and then hands on what may be read."""
    topic = settings.reply_topic.topic if settings.reply_topic is not None else ""
    firsts = {source.topic.partition("/")[0] for source in settings.sources}
    if topic and topic.partition("/")[0] not in firsts:
        yield (
            f"Replies are expected on {topic}, outside the sensors' topics: if the broker does not "
            "let brineward's login read there, nothing says so. Text TEST once, and check that it "
            "is answered."
        )


# -- each depot


def _nobody_second(settings: Settings, plan: DepotPlan) -> Iterator[str]:
    if len(plan.duty.on_call) == 1:
        yield (
            f"At {plan.name} nobody is woken after {settings.people[plan.duty.on_call[0]].name}: "
            "one missed text, and nobody comes. Name a second person in on_call."
        )


def _hole_in_rota(_: Settings, plan: DepotPlan) -> Iterator[str]:
    rota = plan.duty.rota
    if rota is not None and rota.calendar and not rota.people:
        yield (
            f"At {plan.name} only the calendar says who is on duty: in its gaps the "
            f"first of on_call, {plan.duty.names.get(plan.duty.on_call[0], '')}, is called. Name "
            "people in the rota, in turn, to fill its gaps."
        )


def _backup_is_nobody_else(_: Settings, plan: DepotPlan) -> Iterator[str]:
    rota = plan.duty.rota
    if rota is not None and len(rota.people) == 1 and set(rota.backups) <= set(rota.people):
        yield (
            f"At {plan.name} one person has every turn of the rota, and there is no backup: "
            "name a backup, or a second person."
        )


def _no_phone_rings(settings: Settings, plan: DepotPlan) -> Iterator[str]:
    used = [
        settings.channels[name]
        for one in plan.duty.on_call
        for name in settings.people[one].channels
    ]
    if not any(isinstance(channel, HttpChannel | ModemChannel | PushChannel) for channel in used):
        yield (
            f"At {plan.name} no phone rings: texts are only printed or written to a file. Give "
            'somebody on call a channel of kind "http".'
        )


def _late_to_the_next(_: Settings, plan: DepotPlan) -> Iterator[str]:
    wait = plan.duty.next_after_seconds
    if wait >= LONG_TO_NEXT_SECONDS:
        yield (
            f"At {plan.name} an alarm that nobody takes goes to the next person only after "
            f"{duration(wait)} (next_after), and the gravest leave only minutes. 10 min is usual."
        )


def _nothing_watched(_: Settings, plan: DepotPlan) -> Iterator[str]:
    if not plan.sensors:
        yield f"{plan.name} has no sensors: nothing is watched there."


def _limit_over_the_brim(_: Settings, plan: DepotPlan) -> Iterator[str]:
    limit = _limit(plan, "overflow-ahead")
    for vessel in plan.vessels.values():
        watched = vessel.kind in (VesselKind.MAIN, VesselKind.STORAGE)
        if watched and limit is not None and limit >= vessel.brim_m:
            yield (
                f"At {plan.name} the limit of overflow-ahead, {level(limit, plan.us_units)}, is "
                f"not under the brim of the {plan.name_of(vessel.id)}, "
                f"{level(vessel.brim_m, plan.us_units)}: it overflows before anybody is texted. "
                "Set a lower limit, or leave it out."
            )


def _level_believed_too_low(_: Settings, plan: DepotPlan) -> Iterator[str]:
    us = plan.us_units
    for sensor in plan.sensors.values():
        vessel = plan.vessels.get(sensor.at)
        if sensor.measures is Measure.LEVEL and vessel is not None and sensor.high < vessel.brim_m:
            yield (
                f"At {plan.name} {sensor.id} is believed only to {level(sensor.high, us)} (range), "
                f"and the brim of the {plan.name_of(vessel.id)} is at {level(vessel.brim_m, us)}: "
                "nobody sees how it fills above that. Let the range reach past the brim."
            )


def _band_beyond_brine(_: Settings, plan: DepotPlan) -> Iterator[str]:
    most = most_liquid(WARMEST_C)
    if plan.strength.high >= most:
        yield (
            f"At {plan.name} high, {percent(plan.strength.high)} %, is more salt than brine can "
            f"hold, {percent(most)} % at most: brine-strong is never raised. Set a lower one, "
            "or leave it out."
        )


def _limit_under_freezing(_: Settings, plan: DepotPlan) -> Iterator[str]:
    limit = _limit(plan, "shelter-freezing")
    if limit is not None and limit <= _FREEZING_C:
        us = plan.us_units
        yield (
            f"At {plan.name} the limit of shelter-freezing, {temperature(limit, us)}, is not above "
            f"freezing, {temperature(_FREEZING_C, us)}: pipes burst before anybody is texted. Set "
            "a warmer limit, or leave it out."
        )


def _held_back_too_long(_: Settings, plan: DepotPlan) -> Iterator[str]:
    for alarm, settings in plan.alarms.items():
        delay, record = settings.on_delay_seconds, CATALOGUE[alarm]
        respond = record.respond_seconds
        if respond is None:
            respond = LONG_DELAY_SECONDS if record.priority is Priority.HIGH else None
        if delay is not None and respond is not None and delay > respond:
            yield (
                f"At {plan.name} {alarm} is held back for {duration(delay)} (on_delay), and what "
                f"must be done is due within {duration(respond)} of its cause: it comes too late. "
                f"Leave on_delay out ({duration(record.on_delay_seconds)} then), or shorten it."
            )


def _high_alarm_off(_: Settings, plan: DepotPlan) -> Iterator[str]:
    for alarm, settings in plan.alarms.items():
        record = CATALOGUE[alarm]
        if not settings.enabled and record.priority is Priority.HIGH:
            yield (
                f"At {plan.name} {alarm}, an alarm of high priority, is switched off: nobody is "
                "texted about it. Unless something else watches for it, remove enabled = false."
            )


def _silent_for_long(_: Settings, plan: DepotPlan) -> Iterator[str]:
    for sensor in plan.sensors.values():
        if sensor.silent_after_seconds > LONG_SILENCE_SECONDS:
            yield (
                f"At {plan.name} {sensor.id} may be silent for "
                f"{duration(sensor.silent_after_seconds)} before anybody is texted, and what it "
                "watches is blind meanwhile. Let it publish more often, or shorten silent_after."
            )


_LOOKS_AT_FILE = (
    _password_in_the_clear,
    _texts_in_the_clear,
    _on_call_nowhere,
    _no_phone_number,
    _number_that_cannot_be,
    _one_number_twice,
    _no_way_to_reply,
    _nobody_sees_what_arrives,
    _page_in_the_clear,
    _replies_where_no_sensor_is,
)
_LOOKS_AT_DEPOT = (
    _nobody_second,
    _hole_in_rota,
    _backup_is_nobody_else,
    _no_phone_rings,
    _late_to_the_next,
    _nothing_watched,
    _limit_over_the_brim,
    _level_believed_too_low,
    _band_beyond_brine,
    _limit_under_freezing,
    _held_back_too_long,
    _high_alarm_off,
    _silent_for_long,
)


def _limit(plan: DepotPlan, alarm: str) -> float | None:
    settings = plan.alarms.get(alarm)
    return None if settings is None else settings.limit


def _is_this_machine(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False

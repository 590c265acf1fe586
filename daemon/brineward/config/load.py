"""Reads a config file once: the result is settings, or every mistake in it at once."""

import hashlib
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal, NamedTuple

from pydantic import Field

from brineward.config.channel_kinds import (
    HeartbeatSettings,
    MailChannel,
    ModemChannel,
    PushChannel,
    ReplyTopicSettings,
    SirenChannel,
)
from brineward.config.depot import ReadDepot, check_names, read_depot
from brineward.config.lines import line_of, lines_of_keys
from brineward.config.mistakes import ConfigMistakes, KeyPath, written_name
from brineward.config.sections import Findings, Known, Section, table_of
from brineward.config.settings import (
    Channel,
    ConsoleChannel,
    ExportSettings,
    FileChannel,
    HttpChannel,
    JournalSettings,
    LinkSettings,
    PageSettings,
    Person,
    ReplySettings,
    ReportSettings,
    Settings,
)
from brineward.config.topics import hold_topics_apart
from brineward.plant.plan import DepotPlan

_LARGEST_BYTES = 1_000_000

_CHANNELS: Mapping[object, type[Channel]] = {
    "http": HttpChannel,
    "console": ConsoleChannel,
    "file": FileChannel,
    "mail": MailChannel,
    "modem": ModemChannel,
    "push": PushChannel,
    "siren": SirenChannel,
}


class FileTable(Section):
    """The tables at the top of the file; what is in them is read one by one."""

    link: dict[str, object] = Field(default={}, description="a [link] table")
    journal: dict[str, object] = Field(description="a [journal] table with a path")
    channels: dict[str, object] = Field(
        min_length=1, description="one [channels.<name>] table or more"
    )
    people: dict[str, object] = Field(min_length=1, description="one [people.<name>] table or more")
    replies: dict[str, object] | None = Field(default=None, description="a [replies] table")
    reply_topic: dict[str, object] | None = Field(default=None, description="a [reply_topic] table")
    reports: dict[str, object] | None = Field(default=None, description="a [reports] table")
    page: dict[str, object] | None = Field(default=None, description="a [page] table")
    heartbeat: dict[str, object] | None = Field(default=None, description="a [heartbeat] table")
    export: dict[str, object] = Field(default={}, description="[export.<name>] tables")
    depots: dict[str, object] = Field(min_length=1, description="one [depots.<name>] table or more")


class KindlessTable(Section):
    """A channel whose kind can't be read, so that no other key of it can be judged."""

    kind: Literal["http", "modem", "mail", "push", "siren", "console", "file"] = Field(
        description="one of http, modem, mail, push, siren, console, file"
    )


def load_settings(path: Path, changed: Mapping[tuple[str, ...], object] | None = None) -> Settings:
    """The settings that a config file says, but for the keys that are `changed`.

    Raises: ConfigMistakes, with everything that is wrong with it.
    """
    findings = Findings(path)
    data = _data(path, findings)
    text = _text(data, findings)
    raw = _parsed(text, findings)
    for key, value in (changed or {}).items():
        _change(raw, key, value)
    settings = _settings(path, data, raw, findings)
    if settings is None or findings.mistakes:
        lines = lines_of_keys(text)
        placed = [replace(found, line=line_of(found.key, lines)) for found in findings.mistakes]
        raise ConfigMistakes(sorted(placed, key=lambda mistake: mistake.line or 0))
    return settings


def _data(path: Path, findings: Findings) -> bytes:
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        why = error.strerror if isinstance(error, OSError) else str(error)
        denied = isinstance(error, PermissionError)
        expected = "a file that you may read: try with sudo" if denied else "a config file"
        findings.add((), f"can't be read: {why}", expected)
        raise ConfigMistakes(findings.mistakes) from error
    if len(data) > _LARGEST_BYTES:
        findings.add((), "is larger than 1 MB", "a config file")
        raise ConfigMistakes(findings.mistakes)
    return data


def _text(data: bytes, findings: Findings) -> str:
    try:
        return data.decode("utf-8-sig")  # some editors put a mark before the first letter
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        column = error.start - (data.rfind(b"\n", 0, error.start) + 1) + 1
        findings.add(
            (), f"is not UTF-8 text (at line {line}, byte {column})", "a file saved as UTF-8"
        )
        raise ConfigMistakes(findings.mistakes) from error


def _parsed(text: str, findings: Findings) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        findings.add((), "is nested too deeply", "tables and arrays a few levels deep")
        raise ConfigMistakes(findings.mistakes) from error
    except ValueError as error:  # the parser's own, or Python's about a number of 5,000 digits
        of_parser = isinstance(error, tomllib.TOMLDecodeError)
        why = str(error) if of_parser else "a number has too many digits"
        findings.add((), f"is not TOML: {why}", "a file as the examples are written")
        raise ConfigMistakes(findings.mistakes) from error


def _change(raw: dict[str, Any], key: tuple[str, ...], value: object) -> None:
    """Put a value at its key; where what is on the way is no table, that is reported as it is."""
    table = raw
    for name in key[:-1]:
        inner = table.setdefault(name, {})
        if not isinstance(inner, dict):
            return
        table = inner
    table[key[-1]] = value


def _settings(path: Path, data: bytes, raw: dict[str, Any], findings: Findings) -> Settings | None:
    known = Known(
        folder=path.parent,
        channels=table_of(raw, "channels"),
        people=frozenset(table_of(raw, "people")),
    )
    findings.read(FileTable, raw, (), known)
    link = findings.settings(LinkSettings, table_of(raw, "link"), ("link",), known)
    journal = replies = reports = None
    if isinstance(raw.get("journal"), dict):
        journal = findings.settings(JournalSettings, raw["journal"], ("journal",), known)
        _hold_warning_before_thinning(findings, journal)
    if isinstance(raw.get("replies"), dict):
        replies = findings.settings(ReplySettings, raw["replies"], ("replies",), known)
    reply_topic = None
    if isinstance(raw.get("reply_topic"), dict):
        topic_table = raw["reply_topic"]
        reply_topic = findings.settings(ReplyTopicSettings, topic_table, ("reply_topic",), known)
    if isinstance(raw.get("reports"), dict):
        reports = findings.settings(ReportSettings, raw["reports"], ("reports",), known)
    page = None
    if isinstance(raw.get("page"), dict):
        page = findings.settings(PageSettings, raw["page"], ("page",), known)
        _hold_header_to_its_proxy(findings, page)
        _hold_own_unit_to_its_port(findings, page, replies)
    heartbeat = None
    if isinstance(raw.get("heartbeat"), dict):
        heartbeat = findings.settings(HeartbeatSettings, raw["heartbeat"], ("heartbeat",), known)
    channels = _channels(findings, table_of(raw, "channels"), known)
    _hold_receipts_to_replies(findings, channels, replies)
    people = _people(findings, table_of(raw, "people"), known)
    _hold_reports_to_mail(findings, reports, channels, people)
    depots = _depots(findings, table_of(raw, "depots"), known)
    exports = _exports(findings, table_of(raw, "export"), known, table_of(raw, "depots"))
    _hold_shorts_apart(findings, table_of(raw, "depots"))
    hold_topics_apart(findings, table_of(raw, "depots"), link.state_topic if link else None)
    _hold_reply_topic_apart(findings, reply_topic, link, depots)
    modems = sum(isinstance(channel, ModemChannel) for channel in channels.values())
    reply_ways = (replies is not None) + (reply_topic is not None) + modems
    ways = _Ways(
        replies=reply_ways > 0,
        one_way=reply_ways == 1,
        by_broker=reply_topic is not None and reply_ways == 1,
        page=page is not None,
    )
    if link is None or journal is None or findings.mistakes:
        return None
    return Settings(
        file=path,
        hash=hashlib.sha256(data).hexdigest(),
        link=link,
        journal=journal,
        channels=channels,
        people=people,
        depots={
            depot: _with_people(read.plan, people, channels, ways) for depot, read in depots.items()
        },
        sources=tuple(source for read in depots.values() for source in read.sources),
        replies=replies,
        reply_topic=reply_topic,
        reports=reports,
        page=page,
        heartbeat=heartbeat,
        exports=exports,
        calendars={d: read.calendar for d, read in depots.items() if read.calendar is not None},
    )


class _Ways(NamedTuple):
    """How people can answer, as `Duty` says it."""

    replies: bool
    one_way: bool
    by_broker: bool
    page: bool


def _with_people(
    plan: DepotPlan,
    people: Mapping[str, Person],
    channels: Mapping[str, Channel],
    ways: _Ways,
) -> DepotPlan:
    own = {person: people[person] for person in plan.duty.on_call}
    names = {person: one.name for person, one in own.items()}
    quiet = {p: one.quiet_hours for p, one in own.items() if one.quiet_hours is not None}
    # A siren that never hears that an alarm has cleared would go on for ever.
    sirens = {
        person
        for person, one in own.items()
        if any(isinstance(channels[name], SirenChannel) for name in one.channels)
    }
    duty = replace(
        plan.duty,
        names=names,
        replies=ways.replies,
        replies_one_way=ways.one_way,
        replies_by_broker=ways.by_broker,
        page=ways.page,
        quiet=quiet,
        us_units={p: one.units == "us" for p, one in own.items() if one.units is not None},
        unlimited=frozenset(sirens),
    )
    return replace(plan, duty=duty)


def _channels(findings: Findings, tables: Mapping[str, object], known: Known) -> dict[str, Channel]:
    check_names(findings, tables, ("channels",))
    read: dict[str, Channel] = {}
    for name, raw in tables.items():
        key: KeyPath = ("channels", name)
        kind = raw.get("kind") if isinstance(raw, dict) else None
        if not (isinstance(kind, str) and kind in _CHANNELS):
            head = {} if kind is None else {"kind": kind}
            findings.read(KindlessTable, head if isinstance(raw, dict) else raw, key, known)
            continue
        channel = findings.settings(_CHANNELS[kind], raw, key, known, id=name)
        if channel is not None:
            read[name] = channel
    return read


def _people(findings: Findings, tables: Mapping[str, object], known: Known) -> dict[str, Person]:
    check_names(findings, tables, ("people",))
    read: dict[str, Person] = {}
    for name, raw in tables.items():
        person = findings.settings(Person, raw, ("people", name), known, id=name)
        if person is not None:
            read[name] = person
    return read


def _exports(
    findings: Findings, tables: Mapping[str, object], known: Known, depots: Mapping[str, object]
) -> dict[str, ExportSettings]:
    check_names(findings, tables, ("export",))
    read: dict[str, ExportSettings] = {}
    for name, raw in tables.items():
        key: KeyPath = ("export", name)
        export = findings.settings(ExportSettings, raw, key, known, id=name)
        if export is None:
            continue
        for depot in export.depots:
            if depot not in depots:
                findings.add(
                    (*key, "depots"),
                    f"{written_name(depot)} is not a depot of this file",
                    f"one of {', '.join(map(written_name, depots))}",
                )
        if export.username is not None and export.token is None:
            findings.add((*key, "username"), "has no password", "its password as the token")
        read[name] = export
    return read


def _depots(findings: Findings, tables: Mapping[str, object], known: Known) -> dict[str, ReadDepot]:
    check_names(findings, tables, ("depots",))
    read: dict[str, ReadDepot] = {}
    for name, raw in tables.items():
        depot = read_depot(findings, name, raw, known)
        if depot is not None:
            read[name] = depot
    return read


def _hold_warning_before_thinning(findings: Findings, journal: JournalSettings | None) -> None:
    if journal is not None and journal.disk_thin_bytes >= journal.disk_warn_bytes:
        findings.add(
            ("journal",),
            "readings would be thinned before anyone is warned",
            "a disk_thin that is less than disk_warn",
        )


def _hold_reports_to_mail(
    findings: Findings,
    reports: ReportSettings | None,
    channels: Mapping[str, Channel],
    people: Mapping[str, Person],
) -> None:
    """Who gets reports by mail has an address, and there is a way to it."""
    if reports is None or not reports.mail_to:
        return
    by = channels.get(reports.mail_by)
    if not isinstance(by, MailChannel):
        findings.add(
            ("reports", "mail_by"), "is no way for mail", "the name of a channel of kind mail"
        )
    for person in reports.mail_to:
        if person in people and not people[person].mail:
            findings.add(("people", person), "gets reports by mail and has none", "mail = ...")


def _hold_header_to_its_proxy(findings: Findings, page: PageSettings | None) -> None:
    """Anybody can send a header: it counts only from a proxy that is named."""
    if page is not None and page.proxy_header is not None and page.proxy is None:
        findings.add(
            ("page", "proxy_header"),
            "anybody could send it",
            'the proxy\'s address beside it, proxy = "127.0.0.1"',
        )


def _hold_own_unit_to_its_port(
    findings: Findings, page: PageSettings | None, replies: ReplySettings | None
) -> None:
    """Only the service can serve the page and the gateway's replies at one address."""
    if page is None or replies is None or page.served_by == "service":
        return
    if page.listen_port == replies.listen_port:
        findings.add(
            ("page", "port"),
            "is where the service listens for replies",
            'another port, or served_by = "service"',
        )


def _hold_receipts_to_replies(
    findings: Findings, channels: Mapping[str, Channel], replies: ReplySettings | None
) -> None:
    """Receipts come to the listener of replies, on a path of their own."""
    for name, channel in channels.items():
        if not isinstance(channel, HttpChannel) or channel.receipts is None:
            continue
        key = ("channels", name, "receipts")
        if replies is None:
            findings.add(key, "nothing listens for receipts", "a [replies] table")
        elif channel.receipts.path == replies.path:
            findings.add((*key, "path"), "is the path of [replies]", "a path of its own")


def _hold_reply_topic_apart(
    findings: Findings,
    reply_topic: ReplyTopicSettings | None,
    link: LinkSettings | None,
    depots: Mapping[str, ReadDepot],
) -> None:
    """What people text is no reading, and no reading is a text."""
    if reply_topic is None:
        return
    taken = {one.topic: one.sensor for read in depots.values() for one in read.sources}
    owner = taken.get(reply_topic.topic)
    if link is not None and reply_topic.topic == link.state_topic:
        owner = "the service's own state"
    if owner is not None:
        findings.add(
            ("reply_topic", "topic"), f"is the topic of {owner}", "a topic for received texts alone"
        )


def _hold_shorts_apart(findings: Findings, depots: Mapping[str, object]) -> None:
    """A reply names an alarm by its depot's short form, so no two depots may share one."""
    taken: dict[str, str] = {}
    for depot, raw in depots.items():
        short = raw.get("short") if isinstance(raw, dict) else None
        if not isinstance(short, str):
            continue
        if short in taken:
            findings.add(
                ("depots", depot, "short"),
                f"{written_name(short)} is the short form of {written_name(taken[short])} already",
                "another two to four capital letters",
            )
        taken.setdefault(short, depot)

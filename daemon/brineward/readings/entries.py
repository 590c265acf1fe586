"""Entries: everything that can change a decision of the engine, besides readings and refusals."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from brineward.readings.instants import Instant
from brineward.readings.values import Reading, Refusal


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """Something a person did: a take, a hydrometer test, a change of mode."""

    depot: str
    time: Instant
    received: Instant
    act: str
    """`take`, `test`, `mode`, ...; the engine knows which it understands."""
    fields: Mapping[str, str | float | int | bool] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkChanged:
    """The connection to the broker came or went."""

    time: Instant
    up: bool
    gap: bool = False
    """The broker had no session for us on this connect: what was sent meanwhile is lost."""
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """What became of one text, as the outbox follower says."""

    depot: str
    time: Instant
    text: str
    """The text's id, as in `TextDue.id`."""
    outcome: Literal["accepted", "dead"]
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """The service started: its version, its config's hash, its time-zone data's version."""

    time: Instant
    version: str
    config_hash: str
    zone_data: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceTrouble:
    """Something wrong with the watchman's own house: the disk, the clock, a follower."""

    time: Instant
    trouble: Literal["disk-low", "records-damaged"]
    present: bool
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """Time has passed, and nothing else happened."""

    time: Instant


Entry = Reading | Refusal | Act | LinkChanged | Delivery | Started | ServiceTrouble | Tick

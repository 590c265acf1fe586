"""What people did, read from a line of an acts file or an older journal: typed, or refused."""

from collections.abc import Mapping
from typing import Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from brineward.decode.by_hand import RefusedRecord, record_from_fields
from brineward.decode.hand_tests import RefusedTest, hand_test
from brineward.readings.entries import (
    Act,
    Answer,
    Handling,
    HandlingKind,
    HandRecord,
    HandTest,
    ModeSet,
    Take,
)
from brineward.readings.instants import SECOND, Instant
from brineward.readings.modes import Mode

Fields = Mapping[str, str | float | int | bool]


class RefusedAct(ValueError):
    """What was entered is no act that is known here; the text says why."""


class _TakeFields(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True, strict=True)

    number: int = Field(ge=1, le=999_999_999)
    by: str = Field(default="", max_length=100)


class _HandlingFields(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True, strict=True)

    what: HandlingKind
    number: int = Field(default=0, ge=0, le=999_999_999)
    alarm: str = Field(default="", max_length=100)
    source: str = Field(default="", max_length=100)
    by: str = Field(default="", max_length=100)
    seconds: float = Field(default=0.0, ge=0.0, le=366 * 86_400)
    """How long to shelve it."""
    why: str = Field(default="", max_length=200)


class _AnswerFields(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True, strict=True)

    person: str = Field(max_length=100)
    body: str = Field(default="", max_length=1000)
    opted: Literal["", "out", "in"] = ""


class _RecordFields(BaseModel):
    model_config = ConfigDict(extra="allow", frozen=True, strict=True)

    by: str = Field(default="", max_length=100)
    corrects: int = Field(default=0, ge=0, le=999_999_999)
    why: str = Field(default="", max_length=200)


class _ModeFields(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)

    mode: Mode
    single_batch: bool = False
    by: str = Field(default="", max_length=100)


def act_from_fields(act: str, fields: Fields, *, depot: str, time: Instant) -> Act:
    """The act of this name with these fields. Raises: RefusedAct."""
    try:
        match act:
            case "take":
                take = _TakeFields.model_validate(dict(fields))
                return Take(depot=depot, time=time, received=time, **take.model_dump())
            case "test":
                return _test(fields, depot, time)
            case _ if act in _HANDLINGS:
                return _handling(act, fields, depot, time)
            case "answer":
                answer = _AnswerFields.model_validate(dict(fields))
                return Answer(depot=depot, time=time, received=time, **answer.model_dump())
            case "mode":
                mode = _ModeFields.model_validate(dict(fields))
                return ModeSet(depot=depot, time=time, received=time, **mode.model_dump())
            case "record":
                return _record(fields, depot, time)
    except ValidationError as why:
        first = why.errors()[0]
        where = ".".join(map(str, first["loc"])) or "fields"
        raise RefusedAct(f"{act}: {where}: {first['msg'].lower()}") from None
    known = ", ".join((*_HANDLINGS, "take", "test", "answer", "record"))
    raise RefusedAct(f"{act[:40]!r} is not an act known here; expected {known} or mode")


_HANDLINGS = get_args(HandlingKind)


def _handling(act: str, fields: Fields, depot: str, time: Instant) -> Handling:
    found = _HandlingFields.model_validate(dict(fields) | {"what": act})
    return Handling(
        depot=depot,
        time=time,
        received=time,
        what=found.what,
        number=found.number,
        alarm=found.alarm,
        source=found.source,
        by=found.by,
        until=time + round(found.seconds * SECOND) if found.seconds else 0,
        why=found.why,
    )


def _record(fields: Fields, depot: str, time: Instant) -> HandRecord:
    found = _RecordFields.model_validate(dict(fields))
    try:
        said = record_from_fields(found.model_extra or {})
    except RefusedRecord as why:
        raise RefusedAct(str(why)) from why
    return HandRecord(
        depot=depot,
        time=time,
        received=time,
        at=time,
        record=said,
        by=found.by,
        corrects=found.corrects,
        why=found.why,
    )


def _test(fields: Fields, depot: str, time: Instant) -> HandTest:
    try:
        return hand_test(fields, depot=depot, now=time)
    except RefusedTest as why:
        raise RefusedAct(str(why)) from why

"""What people did, as a line of an acts file or an older journal says it: typed, or refused."""

from collections.abc import Mapping
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from brineward.decode.hand_tests import RefusedTest, hand_test
from brineward.readings.entries import Act, Answer, HandTest, ModeSet, Take
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode

Fields = Mapping[str, str | float | int | bool]


class RefusedAct(ValueError):
    """What was entered is no act that is known here; the text says why."""


class _TakeFields(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True, strict=True)

    number: int = Field(ge=1, le=999_999_999)
    by: str = Field(default="", max_length=100)


class _AnswerFields(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True, strict=True)

    person: str = Field(max_length=100)
    body: str = Field(default="", max_length=1000)
    opted: Literal["", "out", "in"] = ""


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
                return Take(depot=depot, time=time, received=time, number=take.number, by=take.by)
            case "test":
                return _test(fields, depot, time)
            case "answer":
                answer = _AnswerFields.model_validate(dict(fields))
                return Answer(
                    depot=depot,
                    time=time,
                    received=time,
                    person=answer.person,
                    body=answer.body,
                    opted=answer.opted,
                )
            case "mode":
                mode = _ModeFields.model_validate(dict(fields))
                return ModeSet(
                    depot=depot,
                    time=time,
                    received=time,
                    mode=mode.mode,
                    single_batch=mode.single_batch,
                    by=mode.by,
                )
    except ValidationError as why:
        first = why.errors()[0]
        where = ".".join(map(str, first["loc"])) or "fields"
        raise RefusedAct(f"{act}: {where}: {first['msg'].lower()}") from None
    raise RefusedAct(f"{act[:40]!r} is no act known here; expected take, test, answer or mode")


def _test(fields: Fields, depot: str, time: Instant) -> HandTest:
    try:
        return hand_test(fields, depot=depot, now=time)
    except RefusedTest as why:
        raise RefusedAct(str(why)) from why

"""Tables of the config file at the edge, and how pydantic's refusals become our own sentences.

A key is declared once. What the shell uses is a dataclass whose annotations are the keys
(`brineward.config.settings`), and its table is made from it. The pure plan knows no pydantic: its
tables are classes here whose fields have the plan's names, and take their defaults from it.
"""

from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, field, fields
from datetime import date, time
from functools import cache
from pathlib import Path
from typing import Any, Self, TypeVar, get_type_hints

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ModelWrapValidatorHandler,
    ValidationError,
    ValidationInfo,
    create_model,
    model_validator,
)
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails, InitErrorDetails, PydanticCustomError

from brineward.config.mistakes import KeyPath, Mistake, not_among, shown

ValueT = TypeVar("ValueT")

_OURS = "mistake"


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the rest of the file names, for checking what one table refers to."""

    folder: Path
    channels: Mapping[str, object] = field(default_factory=dict)
    people: frozenset[str] = frozenset()
    vessels: frozenset[str] = frozenset()
    pumps: frozenset[str] = frozenset()
    valves: frozenset[str] = frozenset()
    has_shelter: bool = False
    us_units: bool = False


def refused(wrong: str, expected: str = "") -> PydanticCustomError:
    """The error that a validator of ours raises: what is wrong, what was expected."""
    return PydanticCustomError(_OURS, "{wrong}", {"wrong": wrong, "expected": expected})


def known_of(info: ValidationInfo) -> Known:
    """What the file names, as given to the validation."""
    known = info.context
    if not isinstance(known, Known):
        raise TypeError("a section is read with what the file names")
    return known


class Section(BaseModel):
    """One table of the file: no unknown key, no value of another type.

    Each field's description is what an operator is told was expected there.
    """

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    @model_validator(mode="wrap")
    @classmethod
    def _own_words(cls, value: object, handler: ModelWrapValidatorHandler[Self]) -> Self:
        try:
            return handler(value)
        except ValidationError as refusal:
            errors = refusal.errors(include_url=False)
            inside = {error["loc"][:-1] for error in errors}
            # A list is also refused as too short for what was refused inside of it.
            lines = [
                cls._reworded(error)
                for error in errors
                if not (error["type"] == "too_short" and error["loc"] in inside)
            ]
            # Not "from": pydantic takes this one's lines into the report of the whole.
            raise ValidationError.from_exception_data(cls.__name__, lines) from None

    @classmethod
    def _reworded(cls, error: ErrorDetails) -> InitErrorDetails:
        location = error["loc"]
        if error["type"] == _OURS:
            said = error["ctx"]
            kind = refused(said["wrong"], said["expected"] or cls._expected(location))
        elif error["type"] == "missing":
            kind = refused("is missing", cls._expected(location))
        elif error["type"] == "extra_forbidden":
            kind = refused(
                "is not a key of this table",
                not_among(str(location[0]), cls.known_keys(), none="no key at all"),
            )
        elif not location:
            # The key that holds it says what was expected; the top has no such key.
            kind = refused(f"{_of_kind(error['input'])}, not a table")
        else:
            kind = refused(_why(error), cls._expected(location))
        return InitErrorDetails(type=kind, loc=location, input=None)

    @classmethod
    def _expected(cls, location: tuple[int | str, ...]) -> str:
        known = cls.known_keys().get(str(location[0])) if location else None
        return (known.description or "") if known else ""

    @classmethod
    def known_keys(cls) -> dict[str, FieldInfo]:
        """The keys allowed in the table, by the names that the file uses."""
        return {known.alias or name: known for name, known in cls.model_fields.items()}

    def made(self, value: Callable[..., ValueT], **more: object) -> ValueT:
        """A dataclass of what the file gives under its names, and of `more`.

        What the file leaves out has the dataclass's own default.
        """
        names = {known.name for known in fields(value)}  # type: ignore[arg-type]  # a dataclass
        given = {name: getattr(self, name) for name in sorted(self.model_fields_set & names)}
        return value(**(given | more))


SectionT = TypeVar("SectionT", bound=Section)


def default_of(value: type, name: str) -> Any:
    """The default of a dataclass's field, for the key that it is made from."""
    (known,) = (one for one in fields(value) if one.name == name)
    return known.default if known.default_factory is MISSING else known.default_factory()


def key(expected: str, name: str | None = None, **more: Any) -> Any:
    """A key of the file, called `name` there if the field has another name."""
    return Field(alias=name, description=expected, **more)


def key_of(plan: type, field_name: str, expected: str, name: str | None = None, **more: Any) -> Any:
    """A key that may be left out, since the plan's field of it has a default."""
    return key(expected, name, default=default_of(plan, field_name), **more)


@cache
def section_of(settings: type) -> type[Section]:
    """The table that a dataclass is made from: its keys are the fields annotated with a `Field`."""
    hints = get_type_hints(settings, include_extras=True)
    keys: dict[str, Any] = {}
    for known in fields(settings):
        hint = hints[known.name]
        if any(isinstance(one, FieldInfo) for one in getattr(hint, "__metadata__", ())):
            required = known.default is MISSING and known.default_factory is MISSING
            keys[known.name] = (hint, ... if required else default_of(settings, known.name))
    return create_model(settings.__name__, __base__=Section, **keys)


def table_inside(settings: type) -> BeforeValidator:
    """A table inside another, read as the dataclass that it makes."""

    def read(raw: object, info: ValidationInfo) -> object:
        return section_of(settings).model_validate(raw, context=info.context).made(settings)

    return BeforeValidator(read)


class Findings:
    """Reads tables one by one and gathers every mistake on the way."""

    def __init__(self, file: Path) -> None:
        self._file = file
        self.mistakes: list[Mistake] = []

    def add(self, key: KeyPath, wrong: str, expected: str = "") -> None:
        """Note one mistake."""
        self.mistakes.append(Mistake(file=self._file, key=key, wrong=wrong, expected=expected))

    def read(
        self, section: type[SectionT], raw: object, key: KeyPath, known: Known
    ) -> SectionT | None:
        """The table as its section, or None with its mistakes noted."""
        try:
            return section.model_validate(raw, context=known)
        except ValidationError as refusal:
            for error in refusal.errors(include_url=False):
                said = error["ctx"]
                self.add(key + error["loc"], said["wrong"], said["expected"] or "a table of keys")
            return None

    def settings(
        self, made: type[ValueT], raw: object, key: KeyPath, known: Known, **more: object
    ) -> ValueT | None:
        """The table as the dataclass whose annotations are its keys, or None with its mistakes."""
        section = section_of(made)  # type: ignore[arg-type]  # a class is hashable
        table = self.read(section, raw, key, known)
        return None if table is None else table.made(made, **more)


def table_of(raw: object, key: str) -> dict[str, Any]:
    """The table under a key where there is one; empty where it is absent or no table."""
    inner = raw.get(key) if isinstance(raw, dict) else None
    return inner if isinstance(inner, dict) else {}


def _why(error: ErrorDetails) -> str:
    value: object = error["input"]
    match error["type"]:
        case "literal_error" | "enum":
            why = "is not a word known here"
        case "finite_number":
            why = "is not a finite number"
        case "greater_than" | "greater_than_equal" | "less_than" | "less_than_equal":
            why = "is out of range"
        case "too_short" | "too_long" if isinstance(value, list | dict):
            return f"holds {len(value)}" if value else "is empty"
        case _:
            return _of_kind(value)
    return f"{shown(value)} {why}"


def _of_kind(value: object) -> str:
    match value:
        case bool():
            kind = "true or false"
        case str():
            kind = "text"
        case int() | float():
            kind = "a number"
        case dict():
            kind = "a table"
        case list():
            kind = "an array"
        case date() | time():
            kind = "a date or time"
        case _:
            kind = "something else"
    return f"is {kind}"

"""Whatever stands in a config file, it is settings or a list of mistakes, never a traceback.

By default a fifth of the examples; all 10,000 with BRINEWARD_EXAMPLES=10000 in the environment.
"""

import copy
import datetime
import json
import os
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from brineward.commands.main import main
from brineward.config.load import load_settings
from brineward.config.mistakes import ConfigMistakes
from brineward.config.settings import Settings

EXAMPLES = int(os.environ.get("BRINEWARD_EXAMPLES", "2000"))
GOOD = Path(__file__).parents[1] / "configs" / "good"
TEXTS = [(GOOD / name).read_bytes() for name in ("plain.toml", "every-feature.toml")]
TABLES = [tomllib.loads(text.decode()) for text in TEXTS]

often = settings(
    max_examples=EXAMPLES // 2,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def load_or_mistakes(path: Path, data: bytes) -> Settings | None:
    """The settings, or None where mistakes were told, each in one short line of plain text."""
    path.write_bytes(data)
    try:
        return load_settings(path)
    except ConfigMistakes as refusal:
        mistakes = refusal.mistakes
        whole = str(refusal)
    assert mistakes
    for mistake in mistakes:
        line = str(mistake).removeprefix(str(path))
        assert mistake.wrong
        assert line.isprintable()
        assert len(line) < 1_000
    assert len(whole.splitlines()) == len(mistakes)
    return None


def as_toml(value: object) -> str:
    """A value as TOML writes it on one line."""
    if isinstance(value, dict):
        pairs = (f"{as_toml(name)} = {as_toml(inner)}" for name, inner in value.items())
        return "{" + ", ".join(pairs) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(as_toml(inner) for inner in value) + "]"
    if isinstance(value, str | bool):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    return str(value)


def whole_file(table: dict[str, Any]) -> bytes:
    """A file of these tables."""
    return "".join(
        f"{as_toml(name)} = {as_toml(value)}\n" for name, value in table.items()
    ).encode()


names = st.one_of(
    st.sampled_from(
        ["main", "pump", "yard", "shelter", "outdoors", "at", "unit", "kind", "short", "", "a b"]
    ),
    st.text(st.characters(codec="utf-8"), max_size=12),
)
numbers = st.one_of(
    st.floats(),
    st.integers(),
    st.sampled_from([0, -0.0, 10**400, -(10**400), 2**63, 1e308, 65_536]),
)
quantities = st.builds(
    "{} {}".format,
    st.one_of(numbers, st.sampled_from(["1e309", "-1", "0", "1,00", "--3", "nan", "inf", "٣"])),
    st.sampled_from(["m", "ft", "degC", "degF", "L/s", "s", "d", "%", "kPa", "", "furlong", "MB"]),
)
scalars = st.one_of(
    numbers,
    st.booleans(),
    names,
    quantities,
    st.sampled_from(
        ["{secret:", "{body}", "{}", "http://[", "http://x:99999/", "../..", "US", "%s"]
    ),
    st.sampled_from(
        [
            datetime.date(2031, 1, 2),
            datetime.time(3, 4),
            datetime.datetime(2031, 1, 2, tzinfo=datetime.UTC),
        ]
    ),
)
values = st.recursive(
    scalars,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(names, inner, max_size=3)),
    max_leaves=8,
)


def places_in(table: dict[str, Any]) -> list[tuple[Any, Any]]:
    """Every container of a tree with each of its keys."""
    found: list[tuple[Any, Any]] = []
    waiting: list[Any] = [table]
    while waiting:
        container = waiting.pop()
        keys = list(container) if isinstance(container, dict) else range(len(container))
        for key in keys:
            found.append((container, key))
            if isinstance(container[key], dict | list):
                waiting.append(container[key])
    return found


def mutate(table: dict[str, Any], data: st.DataObject) -> None:
    """Drop, replace, rename, copy or add something somewhere."""
    places = places_in(table)
    if not places:
        return
    container, key = data.draw(st.sampled_from(places))
    change = data.draw(st.sampled_from(["drop", "replace", "add", "rename", "wrap", "copy"]))
    match change:
        case "drop":
            del container[key]
        case "replace":
            container[key] = data.draw(values)
        case "wrap":
            container[key] = data.draw(st.sampled_from([[container[key]], {"x": container[key]}]))
        case "copy":
            other, there = data.draw(st.sampled_from(places))
            container[key] = copy.deepcopy(other[there])
        case "add" if isinstance(container, dict):
            container[data.draw(names)] = data.draw(values)
        case "rename" if isinstance(container, dict):
            container[data.draw(names)] = container.pop(key)
        case _:
            container.append(data.draw(values))


@often
@given(data=st.data())
def test_changed_tables(tmp_path: Path, data: st.DataObject) -> None:
    """Keys dropped, renamed, retyped, moved or added anywhere in a good file."""
    table = copy.deepcopy(data.draw(st.sampled_from(TABLES)))
    for _ in range(data.draw(st.integers(min_value=1, max_value=4))):
        mutate(table, data)
    load_or_mistakes(tmp_path / "changed.toml", whole_file(table))


@often
@given(data=st.data())
def test_changed_bytes(tmp_path: Path, data: st.DataObject) -> None:
    """Bytes cut out, put in or written over anywhere in a good file, or nothing but noise."""
    text = data.draw(st.sampled_from([*TEXTS, b""]))
    for _ in range(data.draw(st.integers(min_value=1, max_value=3))):
        start = data.draw(st.integers(min_value=0, max_value=len(text)))
        end = start + data.draw(st.integers(min_value=0, max_value=30))
        noise = data.draw(
            st.one_of(
                st.binary(max_size=12), st.sampled_from([b'"', b"[", b"=", b"\n", b"#", b"'''"])
            )
        )
        text = text[:start] + noise + text[end:]
    load_or_mistakes(tmp_path / "changed.toml", text)


# What nearly is a quantity, and anything at all.
texts = st.one_of(
    quantities,
    st.from_regex(r"\A[-+\d.,eE_ ]{0,8} ?(m|ft|in|degF|L/s|min|%|MB|\w{1,3})\Z"),
    st.text(st.characters(codec="utf-8"), max_size=80),
)


@often
@given(data=st.data())
def test_any_text_at_any_key(
    tmp_path: Path, data: st.DataObject, capsys: pytest.CaptureFixture[str]
) -> None:
    """`brineward check` ends with 0, or with 2 and a sentence a mistake, whatever text stands."""
    table = copy.deepcopy(data.draw(st.sampled_from(TABLES)))
    for _ in range(data.draw(st.integers(min_value=1, max_value=3))):
        written = [(c, k) for c, k in places_in(table) if isinstance(c[k], str)]
        container, key = data.draw(st.sampled_from(written))
        container[key] = data.draw(texts)
    path = tmp_path / "text.toml"
    path.write_bytes(whole_file(table))
    capsys.readouterr()
    code = main(["check", str(path)])
    said = capsys.readouterr()
    if code == 0:
        assert said.out.startswith(f"{path}: no mistakes.")
        assert said.err == ""
        return
    assert code == 2
    *mistakes, count = said.err.splitlines()
    assert count.startswith(f"{len(mistakes)} mistake")
    assert mistakes
    assert all(line.startswith(str(path)) and line.isprintable() for line in mistakes)


def quantity_keys() -> list[tuple[int, tuple[Any, ...]]]:
    """Every key of the good files whose text starts with a digit: a quantity, but for addresses."""
    found = []
    for number, table in enumerate(TABLES):
        waiting: list[tuple[tuple[Any, ...], Any]] = [((), table)]
        while waiting:
            path, inner = waiting.pop()
            keys = inner.items() if isinstance(inner, dict) else enumerate(inner)
            for key, value in keys:
                if isinstance(value, dict | list):
                    waiting.append(((*path, key), value))
                elif isinstance(value, str) and value[:1].isdigit() and " " in value:
                    found.append((number, (*path, key)))
    return found


@pytest.mark.parametrize(
    "text", ["", "\0", "m", "1", "1 1", "nan m", "inf d", "1e999 s", "-", "²", "1e"]
)
def test_no_text_that_is_none_is_taken_for_a_quantity(tmp_path: Path, text: str) -> None:
    """At each key that wants a quantity, each such text is a mistake of that key and no other."""
    places = quantity_keys()
    assert len(places) > 30
    for number, path in places:
        table = copy.deepcopy(TABLES[number])
        container: Any = table
        for key in path[:-1]:
            container = container[key]
        container[path[-1]] = text
        (tmp_path / "text.toml").write_bytes(whole_file(table))
        with pytest.raises(ConfigMistakes) as caught:
            load_settings(tmp_path / "text.toml")
        keys = [mistake.key for mistake in caught.value.mistakes]
        assert any(key == path[: len(key)] and len(key) > len(path) - 3 for key in keys), path


@pytest.mark.parametrize("opening", ["[", "{a=", "[{a="])
@pytest.mark.parametrize("depth", [50, 250, 5_000, 200_000])
def test_deep_nesting(tmp_path: Path, opening: str, depth: int) -> None:
    """Arrays and tables nested however deep, closed or not, are mistakes."""
    closing = opening.replace("a=", "")[::-1].translate(str.maketrans("[{", "]}"))
    for end in (closing * depth, ""):
        text = f"link = {opening * depth}1{end}\n".encode()
        assert load_or_mistakes(tmp_path / "deep.toml", text) is None
    # The standard parser takes 0.2 s for 5,000 dots and four times that for twice as many.
    dotted = "link" + ".a" * min(depth, 5_000) + " = 1\n"
    assert load_or_mistakes(tmp_path / "deep.toml", dotted.encode()) is None


def test_the_writer_of_this_test_writes_toml() -> None:
    """What the changes start from is read back as it was: else only the parser would be tested."""
    for table in TABLES:
        assert tomllib.loads(whole_file(table).decode()) == table

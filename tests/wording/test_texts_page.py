"""Every text of the system on one page of the docs, as the phone shows it; the page is current.

It is rewritten with BRINEWARD_WRITE_GOLDEN=1 in the environment; read it then.
"""

import ast
import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import get_args, get_type_hints
from zoneinfo import ZoneInfo

import pytest

from brineward.alarms.registry import CATALOGUE
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import HandlingKind
from brineward.readings.instants import DAY
from brineward.readings.outputs import NoticeKind
from brineward.telling.handover_words import begins_text, ends_text
from brineward.texts.reply_judge import ReplyOutcome
from brineward.wording.gsm import septets
from checkout import ROOT
from depots import START
from wording.answers import answers
from wording.case_texts import example, texts
from wording.conversations import conversations
from wording.every_alarm import EVERY_ALARM
from wording.other_texts import (
    Texts,
    handled_texts,
    handover_texts,
    mode_texts,
    page_code_texts,
    set_time_texts,
    several_texts,
    told_again_texts,
    unheard_texts,
)

PAGE = ROOT / "daemon" / "docs" / "texts.md"
DAEMON = ROOT / "daemon" / "brineward"
CHICAGO = ZoneInfo("America/Chicago")


def the_plan() -> DepotPlan:
    """The example depot, where people can reply."""
    its = example(us=True, replies=True)
    return replace(its, zone=CHICAGO)


def page(folder: Path) -> str:
    """The whole page; `folder` is for the journal of what is played."""
    plan = the_plan()
    lines = [
        "# Every text, as the phone shows it",
        "",
        "Made from the code by `BRINEWARD_WRITE_GOLDEN=1 pytest tests/wording`.",
        "At the depot of `config/tern-hollow.toml`, in US units, where people can reply.",
        "",
        "## Alarms",
    ]
    told = ""
    for case in EVERY_ALARM:
        if case.alarm != told:
            told = case.alarm
            lines += ["", f"### {CATALOGUE[told].title} (`{told}`)"]
        lines += ["", f"{case.name}:", ""]
        lines += [f"- {kind}: `{text}`" for kind, text in texts(plan, case).items()]
    lines += section("When an alarm is announced again", told_again_texts(plan))
    lines += section("While replies are not heard", unheard_texts(plan))
    lines += section("What is done with an alarm", handled_texts(plan))
    lines += section("Several alarms in one text", several_texts(plan))
    lines += section("When duty is handed over", handover_texts(plan))
    lines += section("At set times", set_time_texts(plan))
    lines += section("When a mode is set", mode_texts(plan))
    lines += section("Signing in to the page", page_code_texts())
    for head, said in (*conversations(folder), *answers(folder)):
        lines += ["", f"## {head}", "", *said]
    return "\n".join(lines) + "\n"


def section(head: str, said: Texts) -> list[str]:
    """A part of the page."""
    return ["", f"## {head}", "", *(f"- {what}: `{text}`" for what, text in said)]


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The page as the code makes it now."""
    return page(tmp_path_factory.mktemp("texts"))


def test_the_page_is_current(found: str) -> None:
    """Whoever reads the docs reads what phones show."""
    if os.environ.get("BRINEWARD_WRITE_GOLDEN"):
        PAGE.write_text(found, encoding="utf-8")
    assert PAGE.read_text(encoding="utf-8") == found


MAKES = frozenset({"fit_segment", "Notice", "ActResult", "Setting", "StepText", "to_gsm"})
"""What a text is made by, or the sentence of an answer."""
ROOMS = ("telling", "wording", "texts", "records", "service")


def makers() -> list[Path]:
    """Every module that makes a text or the sentence of an answer."""
    modules = [file for room in ROOMS for file in sorted((DAEMON / room).glob("*.py"))]
    makes = [file for file in modules if MAKES & set(called(ast.parse(file.read_text("utf-8"))))]
    return [*makes, DAEMON / "wording" / "by_hand.py"]


def called(tree: ast.AST) -> Iterator[str]:
    """The names of what is called in it."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            yield node.func.id


def said_in(file: Path) -> Iterator[str]:
    """Each piece of a sentence that a module may say: two words or more, of a string or around what
    is put into one. No docstrings, and nothing of what is logged."""
    tree = ast.parse(file.read_text("utf-8"))
    passed = {id(node) for part in ast.walk(tree) for node in _unsaid(part)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            piece = " ".join(node.value.split())
            words = re.search(r"[A-Za-z']{2,} [A-Za-z']{2,}", piece)
            if words and piece not in KINDS and id(node) not in passed:
                yield piece


def _unsaid(node: ast.AST) -> Iterable[ast.AST]:
    """What in a part of a module nobody is texted."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return ast.walk(node)
    if isinstance(node, ast.Call):
        name = node.func.id if isinstance(node.func, ast.Name) else ""
        name = node.func.attr if isinstance(node.func, ast.Attribute) else name
        if name in NO_TEXT:
            return ast.walk(node)
    if isinstance(node, ast.Raise):
        return ast.walk(node)
    return ()


KINDS = {
    *get_args(NoticeKind),
    *get_args(HandlingKind),
    *get_args(get_type_hints(ReplyOutcome)["kind"]),
}
"""Names of kinds, which nobody reads."""
BY_COMMAND = {
    "One batch: texts if it refills after that.",
    "Which number is to be struck?",
}
"""What only a command or the page says, and no text."""
NO_TEXT = frozenset(
    {"_say", "error", "warning", "info", "refusal_of", "_on_trouble", "HttpAnswer", "Literal"}
)
"""Calls by which something is logged, or said to a gateway."""


@pytest.mark.parametrize("file", makers(), ids=lambda file: file.name)
def test_every_sentence_of_a_text_is_on_the_page(found: str, file: Path) -> None:
    """A new text, or a new branch of one, fails here until the page shows it: then somebody has
    read it."""
    shown = re.sub(r"\W+", " ", found).casefold()
    missing = [
        piece
        for piece in said_in(file)
        if re.sub(r"\W+", " ", piece).strip().casefold() not in shown and piece not in BY_COMMAND
    ]
    assert missing == []


def test_each_text_of_a_handover_is_one_segment_and_whole() -> None:
    """Also with names as long as one may call them and many alarms."""
    plan = the_plan()
    long = replace(
        plan,
        name="Wexmoor County Upper Tern Hollow North Yard",
        duty=replace(plan.duty, names={"yard": "The lead of the upper north yard"}),
    )
    codes = [f"WXTH{number}" for number in range(100, 130)]
    said = [
        *(text for _, text in handover_texts(plan)),
        begins_text(long, START, START + 20 * DAY, active=codes, had=""),
        ends_text(long, "yard", active=codes, kept=codes),
    ]
    for text in said:
        assert 0 < septets(text) <= 160
        assert "on call now" in text
    assert "and 26 more" in said[-1]


def test_every_text_on_the_page_is_one_segment(found: str) -> None:
    """Whatever is texted costs one message."""
    said = re.findall(r"`([^`]+)`$", found, flags=re.MULTILINE)
    assert len(said) > 400
    assert [text for text in said if septets(text) > 160] == []

"""The page's words are in one file: each is used, each that is used is there, none is elsewhere."""

import re
import string
from pathlib import Path

from brineward.page.words import SENTENCES
from checkout import ROOT

PAGE = ROOT / "daemon" / "brineward" / "page"
SAID = re.compile(r"say\(\s*f?[\"']([a-z_.]+)")
MADE = {
    "state": ("word_", "needed", "cleared", "taken", "silent"),
    "alarm": ("priority_", "take", "give_back", "shelve", "reset", "unshelve"),
    "became": ("",),
    "act": ("take_", "back_", "shelve_", "reset_", "unshelve_"),
    "nav": ("",),
    "plant": ("",),
    "tank": ("too_", "perhaps_", "freezes"),
    "refused": ("",),
    "test": ("kind_", "unit_", "example_", "column_"),
    "texts": ("open", "accepted", "dead", "column_"),
    "watched": ("blind", "indirect", "covered", "column_"),
    "trend": ("hours_6", "day", "week", "month", "season", "column_", "episode_"),
    "alarms": ("column_",),
    "record": (
        "wrong_",
        "kind_",
        "verdict_",
        "what_",
        "truck",
        "driver",
        "to",
        "note",
        "marks",
        "why",
    ),
    "made": ("column_", "loads", "batches", "rejected"),
    "site": ("not_found",),
    "reports": ("form_",),
}


def _sources() -> dict[Path, str]:
    files = [
        *PAGE.glob("*.py"),
        *PAGE.glob("templates/*.html"),
        *PAGE.parent.glob("service/pag*.py"),
    ]
    return {file: file.read_text() for file in files}


def test_every_sentence_is_used_and_every_one_used_is_there() -> None:
    """A word that nobody reads any more, or a page that fails when it is first seen, is noticed."""
    named = {name for text in _sources().values() for name in SAID.findall(text)}
    whole = {name for name in named if not name.endswith(("_", "."))}
    assert not {name for name in whole if name not in SENTENCES}
    made = {f"{table}.{start}" for table, starts in MADE.items() for start in starts}
    unused = [
        name
        for name in SENTENCES
        if name not in whole and not any(name.startswith(start) for start in made)
    ]
    assert not unused


def test_no_template_holds_a_word_of_its_own() -> None:
    """What is left of a template without its tags and expressions has no letters."""
    for file in (PAGE / "templates").glob("*.html"):
        bare = re.sub(r"\{%.*?%\}|\{\{.*?\}\}", "", file.read_text(), flags=re.DOTALL)
        bare = re.sub(r"<[^>]*>", "", bare, flags=re.DOTALL)
        bare = bare.replace("&amp;", "")
        assert not set(bare) & set(string.ascii_letters), (file.name, bare.split())

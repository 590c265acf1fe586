"""What nobody watches just now, on the page of what is watched."""

from collections.abc import Iterator
from pathlib import Path

import orjson
import pytest

from brineward.journal import Journal
from brineward.readings.outputs import Priority, Step
from brineward.watch.unwatched import Blind, Unwatched
from journal.samples import reading
from pages.page_bench import PageBench, page_bench
from services import DEPOT


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    """A page."""
    with page_bench(tmp_path) as built:
        yield built


def test_the_dangers_that_nobody_watches_are_listed_by_reason(bench: PageBench) -> None:
    """Those that the service keeps as unwatched; where it keeps none, there is no such list."""
    session = bench.signed_in()
    before = session.get(f"{bench.depot}/watched", timeout=10)
    assert before.status_code == 200
    assert "Not watched just now" not in before.text
    kept = Unwatched()
    for danger, why in (("overflow", "level silent"), ("leak", "level silent"), ("ice", "<cold>")):
        kept.note(danger, Blind(danger, Priority.HIGH, why, (), 0))
    state = orjson.dumps({"trackers": {kept.name: [kept.version, kept.snapshot()]}})
    with Journal.open(bench.settings.journal.path) as journal:
        journal.commit([Step(reading(0, 1.5), ())], states={DEPOT: state})
    text = session.get(f"{bench.depot}/watched", timeout=10).text
    assert "Not watched just now" in text
    assert "<li>leak, overflow: level silent.</li>" in text
    assert "<li>ice: &lt;cold&gt;.</li>" in text

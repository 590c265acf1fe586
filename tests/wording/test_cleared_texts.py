"""What has cleared is told as something that was."""

import re

import pytest

from brineward.alarms.registry import alarms_at, site_of
from wording.case_texts import example
from wording.every_alarm import BEGAN, EVERY_ALARM, Case

_NOW = re.compile(
    r"\b(is|are|says|reads|shows|looks|runs|flows|keeps|disagree|freezes|drifts|takes|moves)\b"
)


@pytest.mark.parametrize("case", EVERY_ALARM, ids=lambda case: case.name)
def test_each_alarm_has_words_for_when_it_has_cleared(case: Case) -> None:
    """A text that says "cleared" and then "is" makes a tired reader look again."""
    its = example(us=True, replies=True)
    [condition] = [
        one.condition
        for one in alarms_at(site_of(its))
        if (one.record.id, one.condition.source) == (case.alarm, case.source)
    ]
    words = condition.words(case.finding, BEGAN)
    assert words.past, f"{case.name} has no past: {words.headline}"
    assert _NOW.search(words.past) is None, words.past

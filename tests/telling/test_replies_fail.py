"""While replies are not heard, no text asks for one: it says how else the alarm is taken."""

from dataclasses import replace

import pytest

from brineward.plant.plan import DepotPlan
from brineward.readings.entries import LinkChanged, ServiceTrouble
from brineward.readings.outputs import AlarmState
from depots import START, plan
from engine.scripted import Script, World, text_of

UNHEARD = ServiceTrouble(
    time=START,
    trouble="replies-unheard",
    present=True,
    sentence="replies by text are not heard: the broker is away.",
)
SHUT = World(running=1.0)


def depot(**duty: object) -> DepotPlan:
    """Its people can reply, in one way alone where nothing else is said."""
    plain = plan()
    ways = {"replies": True, "replies_one_way": True, **duty}
    return replace(plain, duty=replace(plain.duty, **ways))


def first_text(its: DepotPlan, *troubles: ServiceTrouble) -> str:
    """What the first on call reads of a pump against a closed valve after these troubles."""
    script = Script(its, world=SHUT)
    for trouble in troubles:
        script.step(trouble)
    script.run(60)
    return next(text_of(text) for text in script.texts("raised") if "closed" in text_of(text))


@pytest.mark.parametrize(
    ("page", "how"),
    [(True, "Take it on the page"), (False, "Run brineward take TH1")],
)
def test_it_says_how_else_it_is_taken(page: bool, how: str) -> None:
    """On the page where there is one, else by the command; and no reply is asked for."""
    said = first_text(depot(page=page), UNHEARD)
    assert how in said
    assert "Reply" not in said


def test_once_replies_are_heard_again_they_are_asked_for() -> None:
    """And before the trouble, too."""
    for troubles in ((), (UNHEARD, replace(UNHEARD, present=False, sentence=""))):
        assert "Reply TH1" in first_text(depot(page=True), *troubles)


def test_replies_that_come_another_way_too_are_still_asked_for() -> None:
    """While one way is not heard, another may well be."""
    assert "Reply TH1" in first_text(depot(replies_one_way=False), UNHEARD)


@pytest.mark.parametrize(
    ("ways", "said"),
    [
        ({"page": True}, "Replies do nothing now. Take alarms on the page or phone the others."),
        ({}, "Replies do nothing now. Phone the others; brineward take takes alarms."),
        (
            {"page": True, "replies_one_way": False},
            "A reply may do nothing now. If no answer comes, phone the others.",
        ),
    ],
    ids=["a page", "no page", "another way too"],
)
def test_its_own_text_says_what_is_left(ways: dict[str, bool], said: str) -> None:
    """No page is named where there is none, and no reply called useless that may be heard."""
    script = Script(depot(**ways))
    script.step(UNHEARD)
    (text,) = [text_of(one) for one in script.run(400).texts("raised")]
    assert said in text
    assert len(text) <= 160


@pytest.mark.parametrize(
    ("by_broker", "alarms"),
    [(False, {"link-lost", "replies-unheard"}), (True, {"link-lost"})],
    ids=["a modem's fault", "the broker's"],
)
def test_a_lost_link_hides_only_replies_that_come_over_the_broker(
    by_broker: bool, alarms: set[str]
) -> None:
    """A modem or a gateway over HTTP is deaf for a reason of its own: somebody must see to it."""
    script = Script(depot(page=True, replies_by_broker=by_broker))
    script.run(60)
    script.world.silent |= set(script.plan.sensors)
    away = "the broker does not answer"
    script.step(LinkChanged(time=script.time, up=False, why=away))
    script.step(replace(UNHEARD, time=script.time))
    script.run(500)
    raised = {one.alarm for one in script.changes() if one.state is AlarmState.UNACKNOWLEDGED}
    assert raised == alarms
    told = [text_of(text) for text in script.texts("raised", "yard")]
    assert len(told) == len(alarms)
    assert any("no link" in text and "ake it on the page" in text for text in told)


def test_where_nobody_can_reply_nothing_is_said_of_replies() -> None:
    """As ever."""
    said = first_text(depot(replies=False, replies_one_way=False), UNHEARD)
    assert "eply" not in said
    assert "fail" not in said

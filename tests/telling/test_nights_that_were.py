"""Single nights of the model of people and gateways that once went wrong, each step by step."""

from brineward.readings.instants import HOUR
from telling.faulty_ways import RECEIPT_WITHIN_SECONDS
from telling.test_everybody_is_told import Nights


def test_after_a_day_without_the_watch_one_person_hears_of_it_once() -> None:
    """Taken and not cured, and duty passes meanwhile to somebody who has opted out: who had it is
    told at the restart, and neither the handover nor the next round tells them a second time."""
    night = Nights()
    night.begin()
    night.time_passes(minutes=20, shelter=-3.0)
    for other in ("dispatch", "chief"):
        night.somebody_opts(person=other, word="STOP")
    night.somebody_replies(late=0, person="yard", copies=1)
    night.the_service_restarts(down=26 * HOUR, in_the_air=False)
    night.nobody_is_told_a_step_twice()
    at_restart = [one.text for one in night.due if one.at == night.ether.true]
    assert [due.person for due in at_restart if due.number == 1] == ["yard"]
    night.teardown()


def test_what_had_no_room_and_falls_due_again_at_a_restart_is_said_once() -> None:
    """Two texts in a minute, and a third that waited for room when the watch went down for a day:
    its next round is due as well by then, and both are one text.
    """
    night = Nights()
    night.begin()
    night.the_way_changes(fate="never", gateway="phone")
    night.time_passes(minutes=49, shelter=8.0)
    for other in ("dispatch", "yard"):
        night.somebody_opts(person=other, word="STOP")
    night.somebody_replies(late=3, person="yard", copies=1)
    night.the_service_restarts(down=26 * HOUR, in_the_air=False)
    at_restart = [one.text for one in night.due if one.at == night.ether.true]
    assert [one.number for one in at_restart if one.kind == "again"].count(2) == 1
    night.nobody_is_told_a_step_twice()
    night.teardown()


def test_the_second_way_is_used_when_no_receipt_comes_and_not_before() -> None:
    """The first gateway takes the text and drops it: 90 seconds later the second has the same
    text by the same number; the gateway's late word then changes nothing."""
    night = Nights()
    night.begin()
    night.the_way_changes(gateway="phone", fate="receipt late")
    night.time_passes(minutes=12, shelter=-3.0)
    to_yard = [one for one in night.ether.sent if one.person == "yard" and one.number == 1]
    first, second = to_yard[:2]
    assert (first.gateway, second.gateway) == ("phone", "radio")
    assert (first.key, first.body) == (second.key, second.body)
    assert RECEIPT_WITHIN_SECONDS <= second.at - first.at <= RECEIPT_WITHIN_SECONDS + 30
    night.time_passes(minutes=15, shelter=None)
    assert len([one for one in night.ether.sent if one.key == first.key]) == 2
    night.another_way_is_taken_only_where_the_one_before_failed()
    night.teardown()

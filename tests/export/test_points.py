"""Points of the line protocol: exact to the bit, and in the grammar of the client's own code."""

from hypothesis import given
from hypothesis import strategies as st
from influxdb_client import Point, WritePrecision

from brineward.export.points import (
    line_of_episode,
    line_of_reading,
    lines_of_entry,
    lines_of_output,
)
from brineward.readings.entries import AlarmGone, Tick
from brineward.readings.outputs import AlarmState, Derived, EpisodeChanged
from brineward.readings.values import Quality, Reading, TimedBy
from journal.samples import T0, alarm, text

NAMES = st.text(st.characters(codec="utf-8", exclude_characters="\n\r\t\\"), min_size=1)
SENTENCES = st.text(st.characters(codec="utf-8", exclude_characters="\n\r"), min_size=1)
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)


@given(NAMES, NAMES, NUMBERS)
def test_a_reading_is_the_same_point_as_the_clients(depot: str, sensor: str, value: float) -> None:
    """Whatever the names hold, the escapes are the client library's; the value is exact."""
    line = line_of_reading(Reading(depot, sensor, T0, value, T0))
    theirs = Point("reading").tag("depot", depot).tag("sensor", sensor).field("x", 1)
    theirs = theirs.time(T0, WritePrecision.MS)
    assert line.rsplit(" ", 2)[0] == theirs.to_line_protocol().rsplit(" ", 2)[0]
    fields, time = line.rsplit(" ", 2)[1:]
    assert float(fields.removeprefix("value=")).hex() == value.hex()
    assert int(time) == T0


@given(SENTENCES)
def test_a_text_is_escaped_as_the_client_does(reason: str) -> None:
    """Quotes and backslashes in what somebody wrote never end the field."""
    odd = Reading("a", "b", T0, None, T0, Quality.BAD, reason)
    theirs = Point("reading").tag("depot", "a").tag("sensor", "b")
    theirs = theirs.field("quality", "bad").field("reason", reason).time(T0, WritePrecision.MS)
    assert line_of_reading(odd) == theirs.to_line_protocol()


def test_what_is_odd_about_a_reading_is_told() -> None:
    """A value that is not plain has its quality, whose clock, and that it was retained."""
    odd = Reading("a", "b", T0, 1.5, T0, Quality.UNCERTAIN, "", TimedBy.ARRIVAL, True, 60.0)
    assert line_of_reading(odd, second=True) == (
        'second_reading,depot=a,sensor=b value=1.5,quality="uncertain",timed_by="arrival",'
        f"retained=true,silent_after_seconds=60.0 {T0}"
    )


def test_strength_has_its_interval() -> None:
    """The value, its standard uncertainty and the ends of its interval are fields of one point."""
    derived = Derived(
        time=T0, depot="a", name="main-strength", value=0.23, standard_uncertainty=0.002,
        low_95=0.226, high_95=0.235, calibrated=True,
    )  # fmt: skip
    assert list(lines_of_output(derived)) == [
        (
            "derived,depot=a,name=main-strength value=0.23,standard_uncertainty=0.002,"
            f"low_95=0.226,high_95=0.235,calibrated=true {T0}"
        )
    ]


def test_an_episode_is_one_point_from_its_beginning_to_its_end() -> None:
    """Beginning and end have the same tags and time: the end completes the point."""
    began = EpisodeChanged(time=T0, depot="a", episode="load", source="pump", began=T0, ended=None)
    ended = EpisodeChanged(
        time=T0 + 60_000, depot="a", episode="load", source="pump", began=T0, ended=T0 + 60_000,
        amount_m3=3.5, how="by meter",
    )  # fmt: skip
    assert line_of_episode(began) == f"episode,depot=a,episode=load,source=pump going_on=true {T0}"
    assert line_of_episode(ended) == (
        "episode,depot=a,episode=load,source=pump going_on=false,amount_m3=3.5,"
        f'ended={T0 + 60_000}i,seconds=60.0,how="by meter" {T0}'
    )


def test_two_changes_of_an_alarm_at_one_instant_are_two_points() -> None:
    """The state is a tag: what is raised and acknowledged in one millisecond stays two facts."""
    raised = alarm(1)
    (first,) = lines_of_output(raised)
    assert f",state={raised.state.value.replace(' ', chr(92) + ' ')} number=" in first
    gone = AlarmGone(
        time=T0, depot="a", alarm="brine-weak", source="main", number=3,
        state=AlarmState.ACKNOWLEDGED.value, priority="high",
    )  # fmt: skip
    assert list(lines_of_entry(gone)) == [
        (
            "alarm,depot=a,alarm=brine-weak,source=main,state=gone number=3i,"
            f'before="acknowledged",priority="high" {T0}'
        )
    ]


def test_texts_and_ticks_are_no_points() -> None:
    """Nobody's name or number leaves the box by the export's texts."""
    assert list(lines_of_entry(Tick(time=T0))) == []
    assert list(lines_of_output(text(1, 1))) == []

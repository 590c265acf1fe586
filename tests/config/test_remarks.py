"""Warnings: what disarms the watch without being a mistake, each with why and what to do."""

from pathlib import Path

import pytest

from brineward.config.load import load_settings
from brineward.config.remarks import remarks_on
from brineward.config.settings import Settings

PLAIN = Path(__file__).parents[1] / "configs" / "good" / "plain.toml"
ALARM = "[depots.tern-hollow.alarms."
REPLIES = '[replies]\nsecret = { env = "R" }\n'
HEARD = f"[channels.phone.receipts]\n{REPLIES}"


def changed(folder: Path, *changes: tuple[str, str], more: str = "") -> Settings:
    """The plain good file, with replies and receipts, some text changed and something at its
    end."""
    text = PLAIN.read_text(encoding="utf-8")
    for before, after in changes:
        assert before in text
        text = text.replace(before, after, 1)
    path = folder / "changed.toml"
    path.write_text(f"{text}\n{more}\n{HEARD}", encoding="utf-8")
    return load_settings(path)


def the_remark(folder: Path, *changes: tuple[str, str], more: str = "") -> str:
    """The one warning that a change brings; the plain file brings none."""
    assert remarks_on(changed(folder)) == ()
    (remark,) = remarks_on(changed(folder, *changes, more=more))
    return remark


@pytest.mark.parametrize(
    ("alarm", "keys", "words"),
    [
        ("overflow-ahead", 'limit = "2.5 m"', ["2.50 m", "brim of the main tank, 2.40 m"]),
        ("overflow-ahead", 'limit = "2.4 m"', ["not under the brim", "lower limit"]),
        ("overflow-ahead", 'on_delay = "11 min"', ["held back for 11 min", "15 s then"]),
        ("overflow-ahead", "enabled = false", ["switched off", "high priority", "enabled = false"]),
        ("closed-valve", 'on_delay = "6 min"', ["held back for 6 min", "within 5 min", "too late"]),
        ("closed-valve", "enabled = false", ["switched off", "high priority"]),
        ("link-lost", 'on_delay = "2 h"', ["held back for 2 h", "within 60 min"]),
    ],
)
def test_an_alarm_that_is_disarmed_is_told(
    alarm: str, keys: str, words: list[str], tmp_path: Path
) -> None:
    """A limit, a delay or a switch by which an alarm comes too late or never: named, with why."""
    remark = the_remark(tmp_path, more=f"{ALARM}{alarm}]\n{keys}")
    assert remark.startswith("At Tern Hollow ")
    assert alarm in remark
    for word in words:
        assert word in remark


@pytest.mark.parametrize(
    ("alarm", "keys"),
    [
        ("overflow-ahead", 'limit = "2.39 m"'),
        ("closed-valve", 'on_delay = "5 min"'),
        ("overflow-ahead", 'on_delay = "10 min"'),
        ("brine-weak", "enabled = false"),
        ("brine-weak", 'on_delay = "1 h"'),
    ],
)
def test_what_still_comes_in_time_is_no_warning(alarm: str, keys: str, tmp_path: Path) -> None:
    """Settings at the edge, and alarms that wait till morning anyway, are the operator's own."""
    assert remarks_on(changed(tmp_path, more=f"{ALARM}{alarm}]\n{keys}")) == ()


@pytest.mark.parametrize("limit", ["0 degC", "-5 degC", "32 degF"])
def test_a_shelter_told_of_when_it_is_frozen(limit: str, tmp_path: Path) -> None:
    """At 0 degC pipes freeze: a limit there warns of nothing."""
    remark = the_remark(tmp_path, ('limit = "3 degC"', f'limit = "{limit}"'))
    assert "shelter-freezing" in remark
    assert "not above freezing" in remark


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (
            'on_call = ["yard", "dispatch"]',
            'on_call = ["yard", "dispatch"]\nnext_after = "2 h"',
            ["only after 2 h", "10 min is usual"],
        ),
        ("+1 555 0140", "+1 (555) 0141", ["Yard lead and Dispatch desk", "the same number"]),
        ("+1 555 0140", "desk@gateway", ['"desk@gateway"', "not a phone number", "country code"]),
        ('every = "10 s"', 'every = "10 s"\nsilent_after = "1 d"', ["main-level", "24 h", "blind"]),
    ],
)
def test_people_and_sensors_that_do_not_answer(
    before: str, after: str, words: list[str], tmp_path: Path
) -> None:
    """A second person after hours, one phone for two, a name for a number, a day of silence."""
    remark = the_remark(tmp_path, (before, after))
    for word in words:
        assert word in remark


def test_a_number_of_the_made_up_range_is_a_number(tmp_path: Path) -> None:
    """Numbers are judged by their form alone (ITU-T E.164), so 555 01xx pass."""
    settings = changed(tmp_path, ("+1 555 0140", "+1 (555) 01-99"))
    assert settings.people["dispatch"].address == "+15550199"
    assert remarks_on(settings) == ()


def test_texts_that_only_a_screen_shows(tmp_path: Path) -> None:
    """On call by console alone nobody wakes."""
    settings = changed(
        tmp_path,
        ("[people.yard]", '[channels.screen]\nkind = "console"\n\n[people.yard]'),
        ('channel = "phone"', 'channel = "screen"'),
        ('channel = "phone"', 'channel = "screen"'),
    )
    (remark,) = remarks_on(settings)
    assert remark.startswith("At Tern Hollow no phone rings")


def test_nobody_can_reply() -> None:
    """People are texted, and the file has no [replies]: who has the alarm can't say so."""
    (remark, _) = remarks_on(load_settings(PLAIN))
    assert "can't reply" in remark
    assert "[replies]" in remark


def test_nobody_notices_a_gateway_that_delivers_nothing(tmp_path: Path) -> None:
    """Each channel over HTTP that somebody has and that gives no receipts is named, with the table
    that it lacks; one that nobody has is not, nor one that has the table."""
    (_, plain) = remarks_on(load_settings(PLAIN))
    assert "[channels.phone.receipts], beside a [replies] table" in plain
    file = tmp_path / "config.toml"
    unused = '[channels.spare]\nkind = "http"\nurl = "https://gateway.example/{body}"\n'
    file.write_text(f"{PLAIN.read_text()}\n{REPLIES}{unused}", encoding="utf-8")
    (remark,) = remarks_on(load_settings(file))
    assert remark.startswith("Channel phone has no receipts")
    assert "[channels.phone.receipts];" in remark
    assert remarks_on(changed(tmp_path)) == ()


@pytest.mark.parametrize(("topic", "elsewhere"), [("brine/texts", False), ("phone/in", True)])
def test_replies_on_a_topic_that_a_broker_may_not_let_us_read(
    tmp_path: Path, topic: str, elsewhere: bool
) -> None:
    """A broker may grant the subscription and hand on nothing: one text shows it."""
    file = tmp_path / "config.toml"
    file.write_text(f'{PLAIN.read_text()}\n[reply_topic]\ntopic = "{topic}"\n')
    found = [one for one in remarks_on(load_settings(file)) if "outside the sensors' topics" in one]
    assert len(found) == elsewhere
    assert all(f"expected on {topic}" in one for one in found)


@pytest.mark.parametrize(
    ("more", "in_the_clear"),
    [
        ('host = "0.0.0.0"', True),
        ('host = "0.0.0.0"\nproxy = "127.0.0.1"', True),
        ('host = "192.0.2.10"\nproxy = "192.0.2.1"', False),
        ('host = "0.0.0.0"\ncertificate_file = "page.pem"\nkey_file = "page.key"', False),
        ('proxy = "127.0.0.1"', False),
        ("", False),
    ],
)
def test_a_page_that_a_network_can_read(tmp_path: Path, more: str, in_the_clear: bool) -> None:
    """Whoever reads the code of somebody who signs in can act as them."""
    found = [one for one in remarks_on(changed(tmp_path, more=f"[page]\n{more}")) if "page" in one]
    assert len(found) == in_the_clear
    assert all("unencrypted" in one and "certificate_file" in one for one in found)


@pytest.mark.parametrize(("high", "told"), [("2.39", True), ("2.4", False)])
def test_a_level_that_is_not_believed_up_to_the_brim(tmp_path: Path, high: str, told: bool) -> None:
    """Above what is believed a level is no level: an overflow would be judged by nothing."""
    found = remarks_on(changed(tmp_path, ("range = [0, 2.6]", f"range = [0, {high}]")))
    assert len(found) == told
    assert all("main-level is believed only to 2.39 m" in one for one in found)


@pytest.mark.parametrize(("high", "told"), [("40 %", True), ("27 %", True), ("26 %", False)])
def test_a_band_that_no_brine_can_leave(tmp_path: Path, high: str, told: bool) -> None:
    """Saturated brine holds 26.41 % at 20 degC and 26.67 % at 40 degC (CRC_SOL in
    `published/solubility.csv`): a limit above that is never reached."""
    found = remarks_on(changed(tmp_path, ('high = "25 %"', f'high = "{high}"')))
    assert len(found) == told
    assert all("brine-strong is never raised" in one for one in found)

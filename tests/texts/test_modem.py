"""The modem on a pseudo-terminal, with what goes wrong with modems."""

import termios
import time
from collections.abc import Callable
from dataclasses import replace
from io import StringIO
from pathlib import Path

import pytest
from smspdudecoder.fields import SMSSubmit

from brineward.clock import MachineClock
from brineward.config.channel_kinds import ModemChannel
from brineward.config.secret_table import Secret
from brineward.readings.instants import Instant, instant_from_rfc3339
from brineward.readings.outputs import Notice, Priority
from brineward.texts import modem as modems_own
from brineward.texts.at_dialogue import SerialPort
from brineward.texts.attempts import Accepted, Failed, NeverAccepted
from brineward.texts.modem import ModemSender, open_port
from brineward.texts.pdu import submits
from brineward.texts.senders import OutgoingText
from modems import FakeModem, Faults

TEXT = OutgoingText(
    key="k7-1",
    depot="tern-hollow",
    number=1,
    kind="raised",
    priority=Priority.HIGH,
    name="Yard lead",
    address="+15550141000",
    notice=Notice(kind="raised", plain="TH1 Tern Hollow: tank near overflow. {€}"),
    attempt=1,
)


def channel(modem: FakeModem, **more: object) -> ModemChannel:
    """A channel for this modem, impatient."""
    usual = ModemChannel(id="modem", port=modem.port, answer_timeout_seconds=2.5)
    return replace(usual, **more)  # type: ignore[arg-type]  # any field


def sender(modem: FakeModem, **more: object) -> ModemSender:
    """A sender that doesn't listen."""
    return ModemSender(channel(modem, **more), MachineClock())


def until(condition: Callable[[], object], seconds: float = 8.0) -> None:
    """Wait for it."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "not in time"
        time.sleep(0.02)


def delivered(text: str, *, number: str = "0B915155100041F1", reference: int = 7) -> list[str]:
    """What a text to us looks like when it comes in, a message a part; from +15550100141."""
    found = []
    for one in submits("+15550100141", text, reference=reference):
        raw = bytes.fromhex(one.octets)
        after = 5 + (raw[3] + 1) // 2
        head = bytes((0, raw[1] & 0x40 | 0x04)) + bytes.fromhex(number)
        stamp = bytes.fromhex("62102141400000")
        coding, rest = raw[after + 1], raw[after + 3 :]
        found.append((head + bytes((0, coding)) + stamp + rest).hex().upper())
    return found


def test_a_text_leaves_in_pdu_mode_and_an_independent_library_reads_it() -> None:
    """The number and the length that AT+CMGS is told are right; signal and reference are kept."""
    with FakeModem(Faults(echo=True, chatty=True)) as modem:
        outcome = sender(modem).send(TEXT)
    assert outcome == Accepted(receipt="taken by the network (reference 1, signal -79 dBm)")
    ((length, octets),) = modem.sent
    assert int(length) == len(octets) // 2 - 1
    assert SMSSubmit.decode(StringIO(octets))["recipient"]["number"] == "15550141000"


def test_a_text_leaves_in_text_mode() -> None:
    """Number and text are hexadecimal UCS2: no sign ends the command or the text."""
    with FakeModem() as modem:
        assert isinstance(sender(modem, mode="text").send(TEXT), Accepted)
    ((number, body),) = modem.sent
    assert bytes.fromhex(number.strip('"')).decode("utf-16-be") == TEXT.address
    assert bytes.fromhex(body).decode("utf-16-be") == TEXT.notice.plain
    assert 'AT+CSCS="UCS2"' in modem.asked


@pytest.mark.parametrize(
    ("faults", "said"),
    [
        (Faults(mute=True), "no answer of the modem"),
        (Faults(registration="2"), "searching, signal -79 dBm"),
        (Faults(registration="3"), "registration denied"),
        (Faults(no_sim=True), "no SIM card"),
        (Faults(puk=True), "SIM PUK"),
        (Faults(pin="1234"), "asks for its PIN"),
        (Faults(send_error="+CMS ERROR: 322"), "storage of the SIM is full"),
        (Faults(send_error="+CMS ERROR: 38"), "error 38"),
        (Faults(send_error="ERROR"), "refused AT+CMGS"),
        (Faults(send_silent=1), "no answer of the modem to AT+CMGS"),
        (Faults(no_prompt=True), "no prompt"),
    ],
)
def test_each_fault_is_a_failure_in_time_that_says_what_it_is(faults: Faults, said: str) -> None:
    """Never raised, never longer than the answer timeout and a command's own time."""
    with FakeModem(faults) as modem:
        began = time.monotonic()
        outcome = sender(modem).send(TEXT)
        took = time.monotonic() - began
    assert isinstance(outcome, Failed)
    assert said in outcome.why
    assert took < 15.0
    assert outcome.channel_unusable == any(word in said for word in ("SIM card", "PUK", "PIN"))


def test_a_number_that_the_network_does_not_know_is_never_tried_again() -> None:
    """+CMS ERROR 1 is for ever."""
    with FakeModem(Faults(send_error="+CMS ERROR: 1")) as modem:
        assert isinstance(sender(modem).send(TEXT), NeverAccepted)


def test_after_a_hang_and_a_reset_the_next_text_leaves() -> None:
    """The settings are said again each time, since a modem forgets them."""
    with FakeModem(Faults(send_silent=1)) as modem:
        ours = sender(modem)
        assert isinstance(ours.send(TEXT), Failed)
        assert isinstance(ours.send(TEXT), Accepted)
        assert modem.asked.count("AT+CMGF=0") == 2


def test_a_modem_that_is_pulled_out_is_a_failure() -> None:
    """So is one that was never there."""
    with FakeModem() as modem:
        ours = sender(modem)
        assert isinstance(ours.send(TEXT), Accepted)
        modem.unplug()
        outcome = ours.send(TEXT)
    assert isinstance(outcome, Failed)
    missing = ModemSender(ModemChannel(id="modem", port="/nowhere/ttyUSB0"), MachineClock())
    outcome = missing.send(TEXT)
    assert isinstance(outcome, Failed)
    assert "no modem at /nowhere/ttyUSB0" in outcome.why


def test_the_pin_is_entered_once_and_a_wrong_one_never_twice(tmp_path: Path) -> None:
    """A SIM card locks itself after three wrong PINs; the PIN stands in no outcome."""
    pin = tmp_path / "pin"
    pin.write_text("4711\n")
    with FakeModem(Faults(pin="9999")) as modem:
        ours = sender(modem, pin=Secret(file=pin))
        outcomes = [ours.send(TEXT) for _ in range(3)]
        assert modem.pins == ["4711"]
        assert all(isinstance(one, Failed) and one.channel_unusable for one in outcomes)
        assert "4711" not in repr(outcomes)
        pin.write_text("9999\n")
        assert isinstance(ours.send(TEXT), Accepted), "put right, it is tried again"


class Judge:
    """Takes what is handed in."""

    def __init__(self, *, ready: bool = True) -> None:
        self.ready = ready
        self.heard: list[tuple[str, str]] = []
        self.ids: list[str] = []
        self.sent: list[Instant | None] = []

    def __call__(self, sender: str, text: str, message: str, sent: Instant | None) -> bool:
        """Note it."""
        if self.ready:
            self.heard.append((sender, text))
            self.ids.append(message)
            self.sent.append(sent)
        return self.ready


def test_what_people_text_is_handed_in_and_its_place_is_freed() -> None:
    """Stored before we came, announced, in parts in the wrong order, and handed on directly."""
    long = "TH12 on it " + "x" * 300
    with FakeModem() as modem:
        modem.arrive(delivered("before")[0], announce=False)
        judge = Judge()
        ours = ModemSender(channel(modem), MachineClock(), judge)
        try:
            until(lambda: len(judge.heard) == 1)
            for octets in reversed(delivered(long)):
                modem.arrive(octets)
            until(lambda: len(judge.heard) == 2)
            modem.push(delivered("TH1")[0])
            until(lambda: len(judge.heard) == 3)
            until(lambda: not modem.stored)
            assert isinstance(ours.send(TEXT), Accepted), "it sends while it listens"
        finally:
            ours.stop()
    assert judge.heard == [("+15550100141", one) for one in ("before", long, "TH1")]
    assert judge.sent == [instant_from_rfc3339("2026-01-12T14:04:00Z")] * 3


def test_what_could_not_be_dealt_with_stays_stored_and_comes_again_by_the_same_id() -> None:
    """A journal that takes no record now loses no take."""
    with FakeModem() as modem:
        modem.arrive(delivered("TH1")[0], announce=False)
        judge = Judge(ready=False)
        ours = ModemSender(channel(modem), MachineClock(), judge)
        try:
            time.sleep(1.0)
            assert len(modem.stored) == 1
            judge.ready = True
            until(lambda: not modem.stored)
        finally:
            ours.stop()
    assert judge.heard == [("+15550100141", "TH1")]


def test_replies_come_in_text_mode_too() -> None:
    """Sender and text are hexadecimal UCS2 there."""
    with FakeModem() as modem:
        stamp = "26/01/12,08:04:00-24"
        modem.arrive("+15550100141|TH1 fährt hin", announce=False, stamp=stamp)
        judge = Judge()
        ours = ModemSender(channel(modem, mode="text"), MachineClock(), judge)
        try:
            until(lambda: bool(judge.heard))
        finally:
            ours.stop()
    assert judge.heard == [("+15550100141", "TH1 fährt hin")]
    assert judge.sent == [instant_from_rfc3339("2026-01-12T14:04:00Z")]


def test_whatever_the_port_raises_the_modem_is_listened_to_again() -> None:
    """pyserial lets the terminal's own error through, which is no OSError: replies come again."""
    raised: list[Exception] = [termios.error(5, "Input/output error"), ValueError("odd")]
    troubles: list[str] = []

    def opened(channel: ModemChannel) -> SerialPort:
        if raised:
            raise raised.pop()
        return open_port(channel)

    with FakeModem() as modem:
        modem.arrive(delivered("TH1")[0], announce=False)
        judge = Judge()
        ours = ModemSender(
            channel(modem), MachineClock(), judge, opened=opened, on_trouble=troubles.append
        )
        try:
            until(lambda: bool(judge.heard), 12.0)
            assert ours.unheard() == ""
        finally:
            ours.stop()
    assert ["ValueError" in one or "error at" in one for one in troubles] == [True, True]


def test_a_port_that_vanishes_as_it_is_set_up_is_a_failure(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The terminal's own error says what it is, like any other."""

    def vanishes(*_: object) -> None:
        raise termios.error(5, "Input/output error")

    with FakeModem() as modem:
        monkeypatch.setattr(termios, "tcsetattr", vanishes)
        outcome = sender(modem).send(TEXT)
    assert isinstance(outcome, Failed)
    assert outcome.why.endswith("Input/output error")


def test_a_text_that_makes_us_fail_holds_up_none_of_those_after_it() -> None:
    """It is reported and its place is freed: left there it would come again after each restart."""
    heard: list[str] = []
    troubles: list[str] = []

    def judge(_sender: str, text: str, _message: str, _sent: Instant | None) -> bool:
        if text == "bad":
            raise ValueError(text)
        heard.append(text)
        return True

    with FakeModem() as modem:
        for text in ("bad", "TH1"):
            modem.arrive(delivered(text)[0], announce=False)
        ours = ModemSender(channel(modem), MachineClock(), judge, on_trouble=troubles.append)
        try:
            until(lambda: not modem.stored)
            modem.arrive(delivered("TH2")[0])
            until(lambda: heard == ["TH1", "TH2"])
        finally:
            ours.stop()
    assert len(troubles) == 1
    assert "passed over: ValueError" in troubles[0]


def test_a_modem_that_hears_nothing_says_so_and_why(monkeypatch: pytest.MonkeyPatch) -> None:
    """Silent or pulled out, after a while; not before, and not once it answers again."""
    monkeypatch.setattr(modems_own, "DEAF_AFTER_SECONDS", 1.0)
    monkeypatch.setattr(modems_own, "_SWEEP_SECONDS", 0.2)
    with FakeModem(Faults(mute=True)) as modem:
        ours = ModemSender(channel(modem), MachineClock(), Judge())
        try:
            assert ours.unheard() == ""
            until(lambda: "no answer of the modem" in ours.unheard())
            assert ours.unheard().startswith("replies by modem are not heard: ")
            modem.faults.mute = False
            until(lambda: ours.unheard() == "")
            modem.unplug()
            until(ours.unheard)
        finally:
            ours.stop()
        assert ours.unheard() == "", "nobody listens after a stop, as is meant"

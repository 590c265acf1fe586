"""A cellular modem on a serial port: texts out, and what people text back.

Sources: 3GPP TS 27.005 (+CMGF, +CMGS, +CMGL, +CMGD, +CNMI, +CSMP) and 3GPP TS 27.007 (+CPIN, +CREG,
+CSQ, +CSCS). The settings are sent again before each text: a modem forgets them when it is reset.
"""

import importlib.util
import re
import termios
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from brineward.clock import Clock
from brineward.config.channel_kinds import ModemChannel
from brineward.config.secrets import SecretMissing, read_secret
from brineward.followers.errors import place_of
from brineward.readings.instants import Instant
from brineward.texts.at_dialogue import Dialogue, ModemRefused, ModemTrouble, SerialPort
from brineward.texts.attempts import Accepted, Failed, NeverAccepted, Outcome
from brineward.texts.pdu import Submit, submits
from brineward.texts.received import Gathered, Message, listed, pushed
from brineward.texts.senders import OutgoingText
from brineward.wording.segment import segment

if TYPE_CHECKING:
    from serial import Serial

MODEM_MISSING: Final = "needs the library pyserial: pip install 'brineward[modem]'"
_SHORT_SECONDS: Final = 3.0
_SWEEP_SECONDS: Final = 20.0
"""What waits in its storage is looked at this often, should a +CMTI have been missed."""
DEAF_AFTER_SECONDS: Final = 180.0
"""Nothing is heard by a modem whose storage could not be looked at for so long. A text that is sent
keeps it busy for shorter (common practice, no source)."""
_NO_SUCH_NUMBER: Final = ("1",)
"""+CMS ERROR 1: unassigned number (3GPP TS 24.011 annex E, as 27.005 clause 3.2.5 counts it)."""
_FULL: Final = "322"
_REGISTERED: Final = ("1", "5")
_SEARCHING: Final = {
    "0": "not registered, and not searching",
    "2": "searching",
    "3": "registration denied",
    "4": "unknown",
}

Incoming = Callable[[str, str, str, Instant | None], bool]
"""Who texted, what, an id of the message, and when the service centre got it, None where that can't
be read; is it dealt with, so that it may be deleted?"""


class NotReady(ModemTrouble):
    """The operator must put something right first."""


def modem_missing() -> bool:
    """Is the library not installed?"""
    return importlib.util.find_spec("serial") is None


def open_port(channel: ModemChannel) -> SerialPort:
    """The serial port, to ourselves. Raises: OSError."""
    import serial  # noqa: PLC0415 - an extra

    try:
        port = serial.Serial(
            channel.port, channel.speed, timeout=0.1, write_timeout=_SHORT_SECONDS, exclusive=True
        )
    except termios.error as why:  # pyserial lets it through where the port vanishes as it is set up
        raise OSError(*why.args) from why
    return _AsItComes(port)


class _AsItComes:
    """A serial port whose `read` returns as soon as there is something.

    pyserial's own waits until as much has come as was asked for, or its time is up: a tenth of a
    second after each of a dozen commands would make each text wait for more than a second.
    """

    def __init__(self, port: "Serial") -> None:
        self._port = port
        self.write = port.write
        self.close = port.close

    def read(self, size: int = 1, /) -> bytes:
        """At most `size` bytes; none where none come in a tenth of a second. Raises: OSError."""
        first: bytes = self._port.read(1)
        more = min(size - 1, self._port.in_waiting) if first else 0
        return first + self._port.read(more) if more > 0 else first


class ModemSender:
    """One modem. With `incoming`, a thread looks for what people text; stop it by `stop`."""

    def __init__(
        self,
        channel: ModemChannel,
        clock: Clock,
        incoming: Incoming | None = None,
        *,
        opened: Callable[[ModemChannel], SerialPort] = open_port,
        on_trouble: Callable[[str], None] = lambda sentence: None,
    ) -> None:
        self._channel = channel
        self._clock = clock
        self._incoming = incoming
        self._open = opened
        self._on_trouble = on_trouble
        self._lock = threading.Lock()
        self._dialogue: Dialogue | None = None
        self._pin_tried: str | None = None
        self._reference = 0
        self._said = ""
        self._gathered = Gathered()
        self._swept = -_SWEEP_SECONDS
        self._heard_at = clock.monotonic_seconds()
        """When its storage was last looked at, or since when it should have been."""
        self._stopping = threading.Event()
        self._ear: threading.Thread | None = None
        if incoming is not None:
            self._ear = threading.Thread(target=self._hear, name=f"modem {channel.id}", daemon=True)
            self._ear.start()

    def send(self, text: OutgoingText) -> Outcome:
        """Hand the text to the network, within the answer timeout."""
        channel = self._channel
        if modem_missing() and self._open is open_port:
            return Failed(why=f"channel {channel.id} {MODEM_MISSING}", channel_unusable=True)
        end = self._clock.monotonic_seconds() + channel.answer_timeout_seconds
        if not self._lock.acquire(timeout=channel.answer_timeout_seconds):
            return Failed(why=f"channel {channel.id}: the modem is busy")
        try:
            return self._send(text, end)
        except (ModemTrouble, OSError) as why:
            return self._outcome_of(why)
        finally:
            self._lock.release()

    def unheard(self) -> str:
        """Why what people text to it is not heard now, as a sentence without its stop; empty while
        it is, and where nobody listens. From any thread."""
        if self._ear is None or self._stopping.is_set():
            return ""
        deaf = self._clock.monotonic_seconds() - self._heard_at >= DEAF_AFTER_SECONDS
        if self._ear.is_alive() and not deaf:
            return ""
        why = self._said if self._ear.is_alive() else "nobody listens to it any more"
        return f"replies by {self._channel.id} are not heard: {why or 'the modem is busy'}"

    def stop(self) -> None:
        """Listen no more and let go of the port."""
        self._stopping.set()
        if self._ear is not None:
            self._ear.join(2.0)
        if self._lock.acquire(timeout=2.0):
            self._let_go()
            self._lock.release()

    # -- sending

    def _send(self, text: OutgoingText, end: float) -> Outcome:
        self._reference = (self._reference + 1) % 256
        try:
            messages = submits(text.address, segment(text.notice), reference=self._reference)
        except ValueError as why:
            return NeverAccepted(why=f"channel {self._channel.id}: {why}")
        dialogue = self._ready(end)
        signal = _signal(dialogue)
        for message in messages:
            found = self._hand_over(dialogue, text, message, end)
        return Accepted(receipt=f"taken by the network ({found}, {signal})")

    def _hand_over(
        self, dialogue: Dialogue, text: OutgoingText, message: Submit, end: float
    ) -> str:
        left = max(0.1, end - self._clock.monotonic_seconds())
        if self._channel.mode == "pdu":
            lines = dialogue.hand_over(f"AT+CMGS={message.length}", message.octets, left)
        else:
            number = text.address.encode("utf-16-be").hex().upper()
            body = segment(text.notice).encode("utf-16-be").hex().upper()
            lines = dialogue.hand_over(f'AT+CMGS="{number}"', body, left)
        numbers = [line.partition(":")[2].strip() for line in lines if line.startswith("+CMGS:")]
        if not numbers:
            raise ModemTrouble("the modem says OK but not that it sent the text")
        return f"reference {numbers[0]}"

    def _outcome_of(self, trouble: ModemTrouble | OSError) -> Outcome:
        channel = self._channel.id
        if isinstance(trouble, NotReady):
            return Failed(why=f"channel {channel}: {trouble}", channel_unusable=True)
        if isinstance(trouble, ModemRefused):
            return self._refused(trouble)
        self._let_go()
        if isinstance(trouble, ModemTrouble):
            return Failed(why=f"channel {channel}: {trouble}")
        return Failed(why=f"channel {channel}: no modem at {self._channel.port}: {_words(trouble)}")

    def _refused(self, refused: ModemRefused) -> Outcome:
        channel = self._channel.id
        if refused.code in _NO_SUCH_NUMBER:
            return NeverAccepted(why=f"channel {channel}: the network knows no such number")
        if refused.code == _FULL:
            self._swept = -_SWEEP_SECONDS  # make room at once
            return Failed(why=f"channel {channel}: the storage of the SIM is full")
        return Failed(why=f"channel {channel}: {refused}")

    # -- the modem itself

    def _ready(self, end: float) -> Dialogue:
        """A modem that is set up and has a network. Raises: ModemTrouble, OSError."""
        dialogue = self._set_up()
        state = _registration(dialogue)
        while state not in _REGISTERED:
            if (
                self._clock.monotonic_seconds() + 1.0 > end
                or state == "3"
                or self._stopping.wait(1.0)
            ):
                why = _SEARCHING.get(state, "unknown")
                raise ModemTrouble(f"the modem has no network: {why}, {_signal(dialogue)}")
            state = _registration(dialogue)
        return dialogue

    def _set_up(self) -> Dialogue:
        if self._dialogue is None:
            if modem_missing() and self._open is open_port:
                raise NotReady(f"it {MODEM_MISSING}")
            self._dialogue = Dialogue(self._open(self._channel), self._clock.monotonic_seconds)
        dialogue = self._dialogue
        dialogue.ask("ATE0", _SHORT_SECONDS)
        self._unlock(dialogue)
        dialogue.ask("AT+CMEE=1", _SHORT_SECONDS)
        text_mode = self._channel.mode == "text"
        dialogue.ask(f"AT+CMGF={int(text_mode)}", _SHORT_SECONDS)
        if text_mode:
            # Hexadecimal both ways: no sign of the alphabet can end the text or the line.
            dialogue.ask('AT+CSCS="UCS2"', _SHORT_SECONDS)
            dialogue.ask("AT+CSMP=17,71,0,0", _SHORT_SECONDS)
        # Kept in storage and announced: what comes while nobody listens is there afterwards.
        dialogue.ask("AT+CNMI=2,1,0,0,0", _SHORT_SECONDS)
        return dialogue

    def _unlock(self, dialogue: Dialogue) -> None:
        """Enter the PIN once. Raises: NotReady."""
        try:
            lines = dialogue.ask("AT+CPIN?", _SHORT_SECONDS)
        except ModemRefused as why:
            raise NotReady("the modem has no SIM card") from why
        state = next((line[6:].strip() for line in lines if line.startswith("+CPIN:")), "")
        if state == "READY":
            return
        if state != "SIM PIN":
            raise NotReady(f"the SIM card asks for {state or 'nothing known'}; see to it by hand")
        if self._channel.pin is None:
            raise NotReady("the SIM card asks for its PIN; name it as pin of the channel")
        try:
            pin = read_secret(self._channel.pin)
        except SecretMissing as why:
            raise NotReady(str(why)) from None
        if re.fullmatch(r"[0-9]{4,8}", pin) is None:
            raise NotReady("the PIN is not four to eight digits")
        if pin == self._pin_tried:
            raise NotReady("the SIM card refused its PIN; it is not tried twice, put it right")
        self._pin_tried = pin
        try:
            dialogue.ask(f'AT+CPIN="{pin}"', 10.0, shown="AT+CPIN")
        except ModemRefused:
            raise NotReady(
                "the SIM card refused its PIN; it is not tried twice, put it right"
            ) from None
        self._pin_tried = None

    def _let_go(self) -> None:
        """Open the port again next time."""
        dialogue, self._dialogue = self._dialogue, None
        if dialogue is not None:
            try:
                dialogue.close()
            except (OSError, termios.error):
                return  # it was pulled out

    # -- what people text

    def _hear(self) -> None:
        while not self._stopping.wait(0.2):
            if not self._lock.acquire(timeout=1.0):
                continue
            try:
                sentence = self._swept_or_why()
            finally:
                self._lock.release()
            if sentence and sentence != self._said:
                self._on_trouble(f"channel {self._channel.id}: {sentence}")
            self._said = sentence
            if sentence:
                self._stopping.wait(2.0)

    def _swept_or_why(self) -> str:
        """Look at what has come; why that could not be done, or empty."""
        try:
            self._sweep()
        except (ModemTrouble, OSError) as why:
            self._let_go()
            return str(why) if isinstance(why, ModemTrouble) else _words(why)
        # Whatever a driver raises: without this thread nobody's reply is heard, until a restart.
        except Exception as why:  # noqa: BLE001 - see above
            self._let_go()
            return f"it failed unexpectedly: {place_of(why)}"
        return ""

    def _sweep(self) -> None:
        """Hand in what has come. Raises: ModemTrouble, OSError."""
        dialogue = self._dialogue or self._set_up()
        dialogue.listen(0.2)
        told = list(dialogue.unasked)
        dialogue.unasked.clear()
        self._gathered.add(pushed(told))
        announced = any(line.startswith(("+CMTI:", "RDY")) for line in told)
        if announced or self._clock.monotonic_seconds() - self._swept >= _SWEEP_SECONDS:
            dialogue = self._set_up()
            command = "AT+CMGL=4" if self._channel.mode == "pdu" else 'AT+CMGL="ALL"'
            self._gathered.add_stored(listed(dialogue.ask(command, 10.0)))
            self._swept = self._heard_at = self._clock.monotonic_seconds()
        for message in self._gathered.whole(self._clock.monotonic_seconds()):
            if self._is_dealt_with(message):
                self._gathered.done(message)
        for sentence in self._gathered.take_dropped():
            self._on_trouble(f"channel {self._channel.id}: {sentence}")
        for place in self._gathered.to_free:
            dialogue.ask(f"AT+CMGD={place}", _SHORT_SECONDS)
            self._gathered.freed(place)

    def _is_dealt_with(self, message: Message) -> bool:
        try:
            return self._incoming is None or self._incoming(
                message.sender, message.text, message.id, message.sent
            )
        # Whatever it is: kept in storage, it would come again and hold up all that come after it.
        except Exception as why:  # noqa: BLE001 - see above
            self._on_trouble(
                f"channel {self._channel.id}: a text that was received is passed over:"
                f" {place_of(why)}"
            )
            return True


def _registration(dialogue: Dialogue) -> str:
    """The state of +CREG, or of +CEREG where a network has packets alone; TS 27.007 clause 7.2."""
    state = ""
    for command in ("+CREG", "+CEREG"):
        try:
            lines = dialogue.ask(f"AT{command}?", _SHORT_SECONDS)
        except ModemRefused:
            continue
        for line in lines:
            if line.startswith(f"{command}:"):
                fields = line.partition(":")[2].split(",")
                state = fields[1 if len(fields) > 1 else 0].strip()
        if state in _REGISTERED:
            break
    return state


def _signal(dialogue: Dialogue) -> str:
    """The signal in dBm: -113 and 2 a step, 99 unknown; TS 27.007 clause 8.5."""
    try:
        lines = dialogue.ask("AT+CSQ", _SHORT_SECONDS)
    except ModemRefused:
        return "signal unknown"
    for line in lines:
        steps = line.removeprefix("+CSQ:").partition(",")[0].strip()
        if line.startswith("+CSQ:") and steps.isdigit() and int(steps) <= 31:
            return f"signal {-113 + 2 * int(steps)} dBm"
    return "signal unknown"


def _words(error: OSError) -> str:
    return error.strerror or str(error) or type(error).__name__

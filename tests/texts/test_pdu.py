"""The PDU codec, against published examples and an independent library."""

from io import StringIO

import pytest
from gsm0338 import Codec
from hypothesis import given
from hypothesis import strategies as st
from smspdudecoder.fields import SMSDeliver, SMSSubmit

from brineward.texts.pdu import BadPdu, Part, packed, read_deliver, submits, unpacked
from brineward.wording.gsm import from_gsm_codes, gsm_codes

CODEC = Codec()
ALPHABET = CODEC.decode(bytes(code for code in range(128) if code != 0x1B))[0] + "^{}\\[~]|€"


def test_septets_are_packed_as_a_published_example_has_them() -> None:
    """ "hellohello" is E8329BFD4697D9EC37: the example of SMS in PDU mode that tutorials print."""
    septets = [code for codes in gsm_codes("hellohello") for code in codes]
    assert packed(septets).hex().upper() == "E8329BFD4697D9EC37"


def test_a_published_message_to_send_holds_the_same_address_and_text() -> None:
    """A modem maker's example of AT+CMGS (its "Send message, AT+CMGS", PDU mode): "Testing a sms
    messaging over lte" to +358401234567 through the centre +448888888."""
    published = (
        "069144888888F811000C9153481032547600000B20D4F29C9E769F4161"
        "D0BC3D07B5CBF379F89C769F416F7B590E62D3CB"
    )
    (ours,) = submits("+358401234567", "Testing a sms messaging over lte", reference=0)
    without_centre, theirs = ours.octets[2:], published[14:]
    # The same but for how long it is valid: an hour there, six hours here.
    assert without_centre[:24] + "0B" + without_centre[26:] == theirs
    assert ours.length == 42


def test_a_published_message_in_ucs2_holds_the_same_data() -> None:
    """Another maker's example of PDU mode, 0001000B813124819396F300080A00680065006C006C006F: the
    number 13421839693 in swapped half octets filled with F, and ten octets of two a sign."""
    (ours,) = submits("13421839693", "h\u00ebll\u014d", reference=0)
    assert ours.octets[6:22] == "0B813124819396F3"
    assert ours.octets[22:26] == "0008", "the data coding scheme of UCS2"
    assert ours.octets[28:] == "0A" + "006800EB006C006C014D"


def test_a_published_message_that_came_in_is_read() -> None:
    """The example in the README of the library smspdudecoder."""
    found = read_deliver("07916407058099F9040B916407950303F100008921222140140004D4E2940A")
    assert found.part is None
    theirs = SMSDeliver.decode(
        StringIO("07916407058099F9040B916407950303F100008921222140140004D4E2940A")
    )
    assert found.text == theirs["user_data"]["data"]
    assert found.sender == f"+{theirs['sender']['number']}"


@given(
    st.text(ALPHABET, min_size=1, max_size=160),
    st.from_regex(r"\+[1-9][0-9]{6,14}", fullmatch=True),
)
def test_an_independent_library_reads_what_is_sent(text: str, number: str) -> None:
    """smspdudecoder reads the number, and gsm0338 the text, of every message of one part."""
    made = submits(number, text, reference=1)
    if len(made) > 1:
        return
    theirs = SMSSubmit.decode(StringIO(made[0].octets))
    assert f"+{theirs['recipient']['number']}" == number
    octets = bytes.fromhex(made[0].octets)
    assert made[0].length == len(octets) - 1
    at = 1 + 2 + 2 + (len(number) - 1 + 1) // 2 + 3
    septets = unpacked(octets[at + 1 :], octets[at])
    assert CODEC.decode(bytes(septets))[0] == text


@given(st.text(ALPHABET, max_size=400))
def test_codes_agree_with_an_independent_codec(text: str) -> None:
    """Each sign's septets are those of gsm0338, and come back as the same signs."""
    codes = [code for each in gsm_codes(text) for code in each]
    assert bytes(codes) == CODEC.encode(text)[0]
    assert from_gsm_codes(codes) == text


def as_delivered(octets: str, sender: str = "0C915155100041F1") -> str:
    """A message that was sent, as the network would hand it to another modem."""
    raw = bytes.fromhex(octets)
    first, digits = raw[1], raw[3]
    after = 5 + (digits + 1) // 2
    coding, rest = raw[after + 1], raw[after + 3 :]
    head = bytes((0, first & 0x40 | 0x04)) + bytes.fromhex("0B915155100041F1")
    stamp = bytes.fromhex("62102141400000")
    return (head + bytes((0, coding)) + stamp + rest).hex()


@given(
    st.text(min_size=1, max_size=600).filter(lambda text: text.isprintable()), st.integers(0, 255)
)
def test_what_is_sent_in_parts_is_whole_again(text: str, reference: int) -> None:
    """Whatever the signs, the parts are numbered, fit, and together are the text; the library
    reads each part's header the same."""
    made = submits("+15550141", text, reference=reference)
    read = [read_deliver(as_delivered(one.octets)) for one in made]
    assert "".join(one.text for one in read) == text
    assert {one.sender for one in read} == {"+15550100141"}
    for place, (one, sent) in enumerate(zip(read, made, strict=True), 1):
        assert len(bytes.fromhex(sent.octets)) <= 1 + 164, "TS 23.040: 164 octets at most"
        if len(made) == 1:
            assert one.part is None
            continue
        assert one.part == Part(reference=reference, total=len(made), place=place)
        theirs = SMSDeliver.decode(StringIO(as_delivered(sent.octets).upper()))
        header = theirs["user_data"]["header"]["elements"][0]["data"]
        assert (header["reference"], header["parts_count"], header["part_number"]) == (
            reference,
            len(made),
            place,
        )


@given(st.binary(max_size=200))
def test_rubbish_is_refused_and_nothing_else_is_raised(raw: bytes) -> None:
    """A modem on a noisy line may hand in anything."""
    for octets in (raw.hex(), raw.decode("latin-1")):
        try:
            read_deliver(octets)
        except BadPdu:
            continue


def test_what_is_no_number_or_too_long_is_refused() -> None:
    """Nothing but digits ever stands in an AT command; no text takes more than twenty parts."""
    for number in ("", "+", "yard", '+1"\r', "+1 555"):
        with pytest.raises(ValueError, match="phone number"):
            submits(number, "x", reference=0)
    with pytest.raises(ValueError, match="20 parts"):
        submits("+15550141", "x" * 4000, reference=0)

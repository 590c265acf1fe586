"""What people text back, and what is made of it."""

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.readings.entries import HandlingKind
from brineward.texts.replies import (
    CARRIER_WORDS,
    Asked,
    CarrierWord,
    Code,
    Unclear,
    parse_reply,
    person_with,
)
from brineward.texts.reply_words import CODE, IDLE_PHRASES, asked_for

TWO = ("TH", "KR")
TH3 = Code(short="TH", number=3)

AS_PEOPLE_WRITE = [
    "TH3", "th3", "th 3", " Th3. ", "TH-3", "TH#3", "TH03", "\uff34\uff28\uff13", "(TH3)", '"TH3"',
    "TH3 TH3", "Reply TH3", "Reply TH3 to take it.", "Take TH3!", "take th 3", "TH3 ok", "TH3 OK!",
    "TH3 k", "TH3 yes", "yes TH3", "Yep, TH3", "yeah th3", "sure TH3", "TH3 omw", "TH3 OTW",
    "TH3 on my way", "TH3, on the way now", "TH3 en route", "TH3 heading out now", "TH3 rolling",
    "th3 got it 20 min", "TH3 on it, 20 minutes", "TH3 there in 20", "be there in 20 min TH3",
    "TH3 eta 20", "TH3 ETA 20-30 min", "TH3 ~20min", "TH3 half an hour", "TH3 1/2 hour",
    "TH3 \u00bd hour", "TH3 1.5 hours", "TH3 be there by 5:30am", "TH3 20 min out", "TH3 in 2 hrs",
    "TH3 about 15 mins", "TH3 give me 10 min", "TH3 20 miles out", "TH3 10-4", "10-4 TH3",
    "TH3 copy that", "roger TH3", "TH3 will do", "TH3 wilco", "ack TH3", "TH3 confirmed",
    "I'll take TH3", "I\u2019ll take TH3, thanks", "ill take th3", "I will get TH3",
    "i got this TH3",
    "I've got TH3", "i have TH3", "I'm on TH3", "TH3 i'm on it", "TH3 is mine", "TH3 mine",
    "TH3 it's mine", "TH3 me", "taking TH3 now", "TH3 please", "hi, TH3", "TH3 thank you",
    "TH3 done",
    "TH3\nmine, on my way", "TH3 👍", "👍 TH3", "TH3 👍🏽", "TH3 👌", "TH3 ✅",
    "TH3 🏃\u200d♂\ufe0f", "TH3\ufe0f\u20e3",
    "ok got TH3 👍", "T H 3", "take t h 3", "TH3 omw 15", "TH3 getting dressed, eta 25 min",
    "TH3 looking into it", "yes boss TH3", "TH3 headed that way",
]  # fmt: skip

NO_TAKE = [
    "not TH3", "TH3 not mine ok", "ok not me TH3", "TH3 shelve?", "shelve 2h", "not me",
    "TH3 don't shelve 2h", "TH3 TH4 shelve 2h", "TH3 reset the breaker", "TH3 shelve 2 days",
    "can't take TH3", "can\u2019t take TH3", "cant take TH3",
    "cannot take TH3", "don't take TH3", "dont TH3", "won't TH3", "TH3 no", "no TH3", "TH3 nope",
    "TH3 nah", "TH3 never", "TH3 isn't mine", "TH3 I am not going", "I have it not TH3",
    "TH3 no way", "TH3 no thanks", "yes no TH3", "unable TH3", "TH3 wrong", "TH3 false alarm",
    "nicht TH3", "no puedo TH3", "TH3 👎", "TH3 ❌", "TH3 🚫", "TH3 🤷", "TH3 🙅\u200d♂\ufe0f",
    "TH3 😴", "TH3 \U0001faf7", "TH3 !mine", "\u00acTH3", "TH3 \u2260 mine",
    "T\u0336H\u03363\u0336", "TH3\u20e0",
    "TH3?", "TH3\uff1f", "TH3\u061f", "TH3 \u2753", "TH3 ok?", "is TH3 mine", "is TH3 taken",
    "am I on TH3", "will I take TH3", "can I take TH3", "who takes TH3", "who has TH3",
    "you take TH3", "can you take TH3", "will you take TH3", "somebody take TH3",
    "TH3 yard lead has it", "TH3 taken by Bob", "TH3 later", "TH3 tomorrow", "TH3 maybe",
    "TH3 if I must", "ill TH3", "I'm ill TH3", "TH3 stop", "stop TH3", "TH3 5 hours ago",
    "TH3 TH4", "TH3 and TH4", "TH3, KR2", "TH3 KR 2", "TH3-4", "TH3 4", "TH3 omw 4",
    "TH3 13", "TH3/4", "TH1.3",
    "TH", "TH0", "TH 0", "XX3", "3", "take 3", "TH1234567890", "XTH3", "TH3X", "TH\u0663", "", " ",
    "👍", "ok", "on it", "20 min", "TH3 " + "ok " * 200,
    "Liked \u201cTH3 Tern Hollow: main tank near overflow\u201d",
    "I am driving and will answer later", "TH3 I'll call you",
]  # fmt: skip


@pytest.mark.parametrize("text", AS_PEOPLE_WRITE)
def test_a_code_is_taken_however_a_thumb_writes_it(text: str) -> None:
    """Half asleep, with a thumb: case, spaces, "omw", "20 min" or a picture make no difference."""
    assert parse_reply(text, TWO) == TH3


@pytest.mark.parametrize(
    ("text", "what", "seconds"),
    [
        ("TH3 not me", "hand back", None),
        ("not me TH3", "hand back", None),
        ("TH3 not mine.", "hand back", None),
        ("Th 3 untake", "hand back", None),
        ("untake TH3", "hand back", None),
        ("TH3 give back", "hand back", None),
        ("TH3 shelve 2h", "shelve", 7200.0),
        ("shelve TH3 for 2 hours", "shelve", 7200.0),
        ("TH3 shelve it for 90 min", "shelve", 5400.0),
        ("TH3 Shelve 1.5 hrs", "shelve", 5400.0),
        ("TH3 shelve", "shelve", None),
        ("TH3 unshelve", "unshelve", None),
        ("reset TH3", "reset", None),
    ],
)
def test_what_else_may_be_asked_for(text: str, what: HandlingKind, seconds: float | None) -> None:
    """Handing back, shelving and resetting, each the whole text."""
    assert parse_reply(text, TWO) == Asked(what=what, code=TH3, seconds=seconds)


@pytest.mark.parametrize("text", NO_TAKE)
def test_nothing_is_taken_where_the_meaning_is_in_doubt(text: str) -> None:
    """A take stops the calling of everybody else, so any doubt leaves the alarm calling."""
    assert isinstance(parse_reply(text, TWO), Unclear)
    assert isinstance(parse_reply(text.replace("TH3", "TH 3"), TWO), Unclear)


NEGATIONS = st.sampled_from(
    ["no", "not", "can't", "cant", "cannot", "won't", "wont", "don\u2019t", "dont", "isn't",
     "never",
     "nope", "nah", "unable", "couldn't", "didn't", "nobody", "neither", "without", "aint", "n't",
     "wrong", "no one", "leave", "skip", "pass", "refuse", "decline", "busy", "sick", "?", "\uff1f",
     "👎", "❌", "🚫", "⛔", "🤷", "🙅", "\u2260"]
)  # fmt: skip
IDLE = st.sampled_from(
    ["ok", "yes", "take", "taking", "on it", "on my way", "omw", "20 min", "in 20", "mine",
     "got it",
     "I'll take it", "it", "now", "I", "thanks", "👍", "eta 5:30", "reply", "I have", "please",
     "there"]
)  # fmt: skip
OF_TIME = frozenset(
    """MINS MINUTE MINUTES HOUR HOURS MILES AWAY TOPS ABOUT GIVE WITHIN AROUND COUPLE HALF FIVE FOUR
    THREE FIFTEEN TWENTY THIRTY FORTY SIXTY""".split()  # noqa: SIM905 (a list that people read)
)
GAPS = st.sampled_from([" ", ", ", ". ", "\n", " - ", "! ", "  "])


@given(st.lists(IDLE, max_size=4), NEGATIONS, st.data(), st.sampled_from([TWO, ("TH",)]))
def test_no_text_with_a_negation_takes(
    idle: list[str], negation: str, data: st.DataObject, shorts: tuple[str, ...]
) -> None:
    """Wherever the "not" stands among friendly words, the alarm goes on calling."""
    words = data.draw(st.permutations(["TH3", negation, *idle]))
    text = data.draw(GAPS).join(words)
    for spelling in (text, text.upper(), text.lower(), text.title()):
        assert not isinstance(parse_reply(spelling, shorts), Code), spelling


@given(st.lists(IDLE, max_size=4), st.integers(1, 10**6), st.integers(1, 10**6), st.data())
def test_no_text_with_two_codes_takes(
    idle: list[str], one: int, two: int, data: st.DataObject
) -> None:
    """Nobody takes one alarm by a text about another."""
    codes = data.draw(st.sampled_from([[f"TH{one}", f"TH{one + two}"], [f"TH{one}", f"KR {two}"]]))
    words = data.draw(st.permutations([*codes, *idle]))
    found = parse_reply(data.draw(GAPS).join(words), TWO)
    assert isinstance(found, Unclear)
    assert len(found.named) >= 2


KNOWN_WORDS = {word for phrase in IDLE_PHRASES for word in phrase.split()}


@given(
    st.text(string.ascii_letters, min_size=4, max_size=8)
    .filter(lambda word: word.upper() not in KNOWN_WORDS and word.upper() not in OF_TIME)
    .filter(lambda word: asked_for(f"{CODE} {word.upper()}") is None),
    st.sampled_from(["TH3 {}", "{} TH3", "ok {} TH3 on it", "TH3 20 min {}"]),
)
def test_a_word_that_is_not_known_takes_nothing(word: str, form: str) -> None:
    """In any language it may mean "not": no list of negations has to be complete."""
    assert isinstance(parse_reply(form.format(word), TWO), Unclear)


@pytest.mark.parametrize(
    "text", ["12", "take 12", "12 ok", "#12", " 12. ", "12 omw", "12 20 min", "12 there in 20"]
)
def test_the_number_alone_will_do_with_one_depot(text: str) -> None:
    """With one depot nobody needs its letters; with two the number alone is not enough."""
    assert parse_reply(text, ("TH",)) == Code(short="TH", number=12)
    assert isinstance(parse_reply(text, TWO), Unclear)


@pytest.mark.parametrize(
    "text",
    ["12 gal", "12 13", "0", "1234567890", "not 12", "12?", "20 min", "in 20", "coming in 20",
     "there in 20", "10-4", "eta 5", "5:30"],
)  # fmt: skip
def test_a_stray_number_takes_nothing(text: str) -> None:
    """A number that may be minutes or a time of day is no code."""
    assert isinstance(parse_reply(text, ("TH",)), Unclear)


@pytest.mark.parametrize("word", sorted(CARRIER_WORDS))
@pytest.mark.parametrize("shorts", [("TH",), TWO, tuple(CARRIER_WORDS)])
def test_words_of_the_carriers_are_never_commands(word: str, shorts: tuple[str, ...]) -> None:
    """A word alone is the carrier's, whatever the depots are called, in any case."""
    for text in (word, word.lower(), f" {word.title()}! "):
        assert parse_reply(text, shorts) == CarrierWord(word=word)


@pytest.mark.parametrize(
    ("text", "opted"),
    [("Stop", "out"), ("STOP ALL", "out"), ("opt out", "out"), ("unsubscribe.", "out"),
     ("start", "in"), ("UNSTOP", "in"), ("yes", "in"), ("help", ""), ("info", ""), ("join", "")],
)  # fmt: skip
def test_who_has_opted_out_or_in_is_seen(text: str, opted: str) -> None:
    """STOP means that texts no longer reach this person, START that they do; HELP neither."""
    found = parse_reply(text, TWO)
    assert isinstance(found, CarrierWord)
    assert found.opted == opted


def test_what_an_unclear_text_names_is_known() -> None:
    """So that the hint can name the alarm that the person meant."""
    assert parse_reply("TH3 tomorrow", TWO) == Unclear(named=(TH3,))
    assert parse_reply("what?", TWO) == Unclear()


def test_letters_that_are_words_are_read_both_ways() -> None:
    """A depot called IN makes "in 20" a code: two readings, no take."""
    assert parse_reply("OK12 ok", ("OK", "TH")) == Code(short="OK", number=12)
    assert isinstance(parse_reply("TH3 in 20", ("IN", "TH")), Unclear)
    assert isinstance(parse_reply("AB3 in 20", ("AB", "IN")), Unclear)
    assert parse_reply("IN 20 omw", ("IN", "TH")) == Code(short="IN", number=20)


def test_no_depot_no_take() -> None:
    """Without depots there is nothing to take."""
    assert parse_reply("TH12", ()) == Unclear()


@given(
    st.text(string.ascii_uppercase, min_size=2, max_size=4),
    st.integers(1, 999_999_999),
    st.sampled_from(["", " ", "-", "  "]),
    st.booleans(),
)
def test_every_code_that_is_texted_out_can_be_texted_back(
    short: str, number: int, gap: str, small: bool
) -> None:
    """Any letters and number, written together or apart, come back as they went out."""
    text = f"{short}{gap}{number}"
    code = parse_reply(text.lower() if small else text, (short,))
    assert code == Code(short=short, number=number)
    assert str(code) == f"{short}{number}"


@given(st.text(max_size=400), st.lists(st.text(max_size=4), max_size=3))
def test_any_text_is_survived(text: str, shorts: list[str]) -> None:
    """A reply is a take of a known depot, a carrier's word or unclear; nothing else, no error."""
    found = parse_reply(text, shorts)
    assert not isinstance(found, Code) or (found.short in shorts and found.number > 0)


PEOPLE = [
    ("screen", ""),
    ("yard", "+1 555 0141"),
    ("desk", "1-555-0140"),
    ("mail", "Desk@depot.example"),
]


@pytest.mark.parametrize(
    ("address", "person"),
    [
        ("+15550141", "yard"), ("15550141", "yard"), ("+1 (555) 0141", "yard"),
        ("+1 555-0141", "yard"), ("001 555 0141", "yard"), ("0015550141", "yard"),
        ("5550141", "yard"), ("555-0141", "yard"), ("555 01 41", "yard"), ("05550141", "yard"),
        ("0 555 0141", "yard"), ("011 1 555 0141", "yard"), ("tel:+15550141", "yard"),
        ("+1 555 0140", "desk"), ("5550140", "desk"), ("desk@DEPOT.example", "mail"),
        ("+15550142", None), ("5550142", None), ("550141", None), ("0141", None), ("141", None),
        ("+44 555 0141", None), ("+49 1 555 0141", None), ("+5550141", None),
        ("555 555 0141", None),
        ("x15550141", None), ("15550141@depot.example", None), ("anonymous", None), ("", None),
        ("+", None), ("\u0661\u0665\u0665\u0665\u0660\u0661\u0664\u0661", None),
    ],
)  # fmt: skip
def test_a_number_is_known_however_the_gateway_writes_it(address: str, person: str | None) -> None:
    """With or without its country code, 00, a trunk 0, spaces; a stranger stays a stranger."""
    assert person_with(address, PEOPLE) == person


def test_a_number_that_fits_two_people_is_nobodys() -> None:
    """Without its country code it could be either; written whole it is one of them."""
    two = [("here", "+1 555 0141"), ("there", "+44 555 0141")]
    assert person_with("5550141", two) is None
    assert person_with("+445550141", two) == "there"
    assert person_with("15550141", two) == "here"


def test_a_trunk_0_in_brackets_is_no_part_of_the_number() -> None:
    """Some write +44 (0)20 for what is +44 20."""
    people = [("far", "+44 (0)555 0100199")]
    assert person_with("+445550100199", people) == "far"
    assert person_with("05550100199", people) == "far"


@given(st.from_regex(r"\+?[0-9]{1,15}", fullmatch=True))
def test_fewer_than_seven_digits_in_common_are_a_stranger(sender: str) -> None:
    """Whoever is recognised shares at least the last seven digits, and no other is as like."""
    person = person_with(sender, PEOPLE)
    if person is not None:
        own = {"yard": "15550141", "desk": "15550140"}[person]
        digits = sender.removeprefix("+")
        assert digits[-7:] == own[-7:]

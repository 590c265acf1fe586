"""The words that a question about strength may contain, and the salts that are not converted.

A word that is in neither list is asked back: skipped, it might have been the one that mattered.
"""

from difflib import get_close_matches


def each(text: str) -> frozenset[str]:
    """Each word of a text."""
    return frozenset(text.split())


FREEZING = each(
    "freeze freezes freezing freezepoint froze frozen ice iced icing icy slush slushy solid"
    " crystal crystals crystallize crystallizes eutectic tonight overnight coldest"
)
"""Words that make a temperature one that is to come, where nothing was read at it."""

TO_COME = each("tonight overnight tomorrow coldest low outside forecast down")
"""Words right beside a temperature that is to come."""

STRENGTH = each(
    "strength strong stronger strongest concentration salinity percent percentage salty"
)
WEAKER = each("cut cuts dilute diluted dilutes thin weaken weakens")
SALOMETER = each("salometer salometers salimeter")
GRAVITY = each("hydrometer hydrometers gravity sg")
DENSITY = each("density")
WEIGHING = each("weigh weighs weight heavy")
HOW_MUCH = each("much many")
SHOWN = each(
    "probe probes reads read reading readings show shows showing hydrometer salometer meter"
    " conductivity density gravity sg instrument sensor"
)
"""Words that ask what an instrument shows."""
SALT = each("salt rocksalt nacl halite")
AIM = each("to target reach reaches want wanted wants into become becomes")
"""Right before a strength, they make it the one that is wanted."""
GIVING = each("add added adding adds put pour pouring mix dump go goes")
"""Before "to", they make what follows the brine that something is added to."""
US_WORDS = each("gallon gallons gal gals pound pounds lb lbs fahrenheit f")
SI_WORDS = each("litre litres liter liters kg kilo kilos kilogram kilograms celsius c")

_ASKING = each("""
    a about after again already am an and any anything are as ask at be been before being brine's
    but by can can't cant come comes coming could do does doesn't doesnt doing enough for from get
    gets getting give gives go goes going good got had has have hello help hey hi how how's i i'd
    i'll i'm i've if in into is isn't isnt it it'll it's its itself just keep keeps kept know let
    like make makes making many may me mean means measure measured measures might morning much
    must my need needed needs night now of ok okay on one or our please point points put right
    safe say says see shall should so some stay stays still take taken takes tell than thank
    thanks that that's thats the their them then there these they this those to today told
    tomorrow tonight's too truck trucks up us use used using was wasn't we we're we've were what
    what's whats when where which while who whole why will winter with won't wont work worked
    would you your
""")
_PLANT = each("""
    batch brine brines brinewater bring brings chloride hopper hose line lines liquid load loads
    main mixture pipe pipes pump pumps road roads rock saltwater sample samples sodium solution
    storage supply tank tank's tanks valve valves vat water yard
""")
_READINGS = each("""
    air by c cold colder deg degree degrees f level mass measurement number numbers sal salometer
    scale scaled specific temp temperature temperatures test tested tests thermometer value warm
    warmer weather
""")
_DOING = each("""
    amount becoming blended blending bringing clean contain contains content correct correction
    dissolve dissolved dissolves dissolving drop drops dry fill filling fix fresh hold holds hot
    lower plain pure quantity raise raises raising require required requires result results
    saturated saturation short stir strengthen strengthening tap ton tonne tonnes tons total up
    volume weak weaker white
""")
KNOWN = (
    _ASKING
    | _PLANT
    | _READINGS
    | _DOING
    | FREEZING
    | TO_COME
    | STRENGTH
    | WEAKER
    | SALOMETER
    | GRAVITY
    | SHOWN
    | WEIGHING
    | SALT
    | AIM
    | GIVING
    | US_WORDS
    | SI_WORDS
)

_OTHER_SALTS = {
    "calcium chloride": "calcium cacl2 cacl cacl2s calciumchloride",
    "magnesium chloride": "magnesium mgcl2 mgcl mag magchloride magnesiumchloride",
    "potassium chloride": "potassium kcl kacetate",
    "an acetate": "acetate acetates cma nacma kac naac",
    "a formate": "formate formates",
    "beet juice": "beet beets beetjuice molasses sugar sugarbeet",
    "a blend": "blend blends blended-brine mixed-chlorides",
    "glycol": "glycol glycols antifreeze",
    "urea": "urea",
    "sea water": "sea seawater ocean",
    "alcohol": "alcohol methanol ethanol vinegar",
    "another chemical": "lithium licl sulfate sulphate carbonate bittern corn agro cheese whey",
}
_OTHER_SALT_OF = {word: salt for salt, words in _OTHER_SALTS.items() for word in words.split()}

_NUMBER_WORDS = each(
    "zero two three four five six seven eight nine ten eleven twelve fifteen twenty thirty forty"
    " fifty sixty hundred thousand half quarter dozen"
)


def other_salt(words: list[str]) -> str:
    """The first salt among the words that is not sodium chloride; empty where there is none."""
    return next((_OTHER_SALT_OF[word] for word in words if word in _OTHER_SALT_OF), "")


def unknown_word(words: list[str]) -> str:
    """The first word that is not known here; empty where all are."""
    return next((word for word in words if word not in KNOWN), "")


def asked_back(word: str) -> str:
    """What to say of a word that is not known."""
    if word in _NUMBER_WORDS:
        return f'Write numbers in figures: I don\'t read "{word}".'
    if word in ("below", "under", "minus", "negative"):
        return 'Write a temperature below zero with a minus sign, as in "-10 F".'
    if word == "per":
        return (
            "I don't read amounts per gallon: give the whole amounts, as in"
            ' "2,500 lb of salt in 1,000 gal of water".'
        )
    near = get_close_matches(word, sorted(KNOWN), n=1, cutoff=0.8)
    offer = f' Did you mean "{near[0]}"?' if near else ""
    return f'I don\'t know the word "{word}".{offer}'

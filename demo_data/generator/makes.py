"""Invented makes of the demo workshop: what they build, how they show a fault, and their planted weak points."""

from __future__ import annotations

from dataclasses import dataclass, field

KIND_LETTER = {
    "washing machine": "W",
    "washer-dryer": "Z",
    "tumble dryer": "T",
    "dishwasher": "D",
    "fridge": "F",
    "freezer": "R",
    "fridge-freezer": "C",
    "electric oven": "V",
    "cooker": "K",
    "electric hob": "H",
    "microwave oven": "M",
    "vacuum cleaner": "U",
}
LAUNDRY = ("washing machine", "washer-dryer")
COLD = ("fridge", "freezer", "fridge-freezer")


@dataclass(frozen=True)
class Make:
    """One invented make.

    Parameters
    ----------
    letter
        First letter of its model names.
    shares
        Its weight among the calls of a kind.
    rule
        How it shows a fault: ``digits``, ``lamps``, ``flashes``, ``table`` or ``none``.
    prefix
        Letter before the digits.
    numbers
        Function that failed its check → number (or own sign) of the code.
    swapped
        Model family → pairs of functions whose codes stand for each other in it.
    shows
        Chance that a failed function shows at all, against a make with a full display.
    """

    name: str
    letter: str
    shares: dict[str, float]
    rule: str
    prefix: str = ""
    numbers: dict[str, str] = field(default_factory=dict)
    shows: float = 1.0
    swapped: dict[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)


def _numbered(**numbers: int) -> dict[str, str]:
    return {function: str(number) for function, number in numbers.items()}


MAKES: dict[str, Make] = {
    make.name: make
    for make in (
        Make(
            "Brennick",
            "B",
            {"washing machine": 26, "washer-dryer": 20, "tumble dryer": 22, "dishwasher": 26, "fridge-freezer": 12},
            "digits",
            "Q",
            _numbered(
                fill=62,
                drain=27,
                level=35,
                heat=81,
                temperature=44,
                motor=73,
                balance=19,
                door=56,
                leak=90,
                overfill=68,
                control=14,
                airflow=31,
            ),
            swapped={"320": (("motor", "balance"), ("door", "control"))},
        ),
        Make(
            "Corvanta",
            "C",
            {
                "washing machine": 22,
                "washer-dryer": 30,
                "tumble dryer": 20,
                "dishwasher": 20,
                "fridge-freezer": 22,
                "fridge": 20,
                "freezer": 24,
            },
            "digits",
            "K",
            _numbered(
                fill=23,
                drain=41,
                level=17,
                heat=9,
                temperature=34,
                motor=28,
                balance=52,
                door=37,
                leak=12,
                overfill=45,
                control=8,
                airflow=19,
            ),
            swapped={"720": (("drain", "level"), ("heat", "temperature"))},
        ),
        Make(
            "Tavrik",
            "T",
            {"washing machine": 20, "washer-dryer": 18, "tumble dryer": 18, "dishwasher": 14},
            "lamps",
            numbers={
                "fill": "2+4",
                "drain": "1+4",
                "level": "2+3",
                "heat": "1+3+4",
                "temperature": "1+2+4",
                "motor": "3",
                "balance": "2+3+4",
                "door": "1+2",
                "leak": "1",
                "overfill": "4",
                "control": "1+2+3",
                "airflow": "2",
            },
            swapped={"720": (("drain", "motor"), ("heat", "control"))},
        ),
        Make(
            "Ostrel",
            "O",
            {"washing machine": 14, "washer-dryer": 10, "tumble dryer": 18, "dishwasher": 16},
            "flashes",
            "",
            _numbered(
                fill=9,
                drain=7,
                level=11,
                heat=3,
                temperature=8,
                motor=4,
                balance=10,
                door=12,
                leak=6,
                control=2,
                airflow=14,
                overfill=13,
            ),
            0.9,
            swapped={"540": (("fill", "leak"), ("heat", "airflow"))},
        ),
        Make(
            "Velsund",
            "V",
            {
                "washing machine": 10,
                "washer-dryer": 14,
                "tumble dryer": 12,
                "dishwasher": 16,
                "fridge-freezer": 26,
                "fridge": 24,
                "freezer": 22,
                "electric oven": 24,
                "electric hob": 40,
            },
            "table",
            "",
            {
                "fill": "jU",
                "drain": "jH",
                "level": "jP",
                "heat": "jC",
                "temperature": "jY",
                "motor": "jA",
                "balance": "jL",
                "door": "jn",
                "leak": "jE",
                "overfill": "jd",
                "control": "jb",
                "airflow": "jF",
                "zone": "jr",
                "hot": "jo",
            },
        ),
        Make(
            "Pellmore",
            "P",
            {
                "washing machine": 8,
                "washer-dryer": 8,
                "tumble dryer": 10,
                "dishwasher": 8,
                "fridge-freezer": 40,
                "fridge": 56,
                "freezer": 54,
                "electric oven": 36,
                "cooker": 50,
                "electric hob": 25,
                "microwave oven": 45,
            },
            "none",
            shows=0.0,
        ),
        Make(
            "Ferrowick",
            "F",
            {"electric oven": 40, "cooker": 50, "electric hob": 35, "microwave oven": 30},
            "digits",
            "Y",
            _numbered(heat=16, temperature=29, door=43, control=71, zone=58, hot=37),
            0.8,
        ),
        Make("Marrowby", "M", {"microwave oven": 25, "vacuum cleaner": 40}, "none", shows=0.0),
        Make("Hushlo", "H", {"vacuum cleaner": 60}, "none", shows=0.0),
    )
}

# Years by which a make's parts of an age curve are older than their age: they wear out early, or late where negative.
AGES_AHEAD = {
    ("Pellmore", "wear"): 3.0,
    ("Ostrel", "seal"): -2.0,
    ("Corvanta", "board"): 3.5,
    ("Velsund", "seal"): 5.0,
    ("Brennick", "spread"): -1.0,
    ("Hushlo", "wear"): 2.0,
    ("Tavrik", "wear"): 1.5,
}

FAMILIES = {"320": 0.4, "540": 0.35, "720": 0.25}
VARIANTS = ("", "S", "X", "W")


@dataclass(frozen=True)
class WeakPoint:
    """A cause that one make (or one of its model families) has ``factor`` times as often as the others."""

    make: str
    kinds: tuple[str, ...]
    cause: str
    factor: float
    family: str | None = None


WEAK_POINTS = (
    WeakPoint("Brennick", LAUNDRY, "drain pump seized or open circuit", 2.2),
    WeakPoint("Brennick", LAUNDRY, "worn drum bearings", 3.0, "540"),
    WeakPoint("Brennick", ("dishwasher",), "spray arms blocked", 1.8),
    WeakPoint("Corvanta", LAUNDRY, "control board failed", 2.2),
    WeakPoint("Corvanta", LAUNDRY, "heating element open circuit", 1.8),
    WeakPoint("Corvanta", ("tumble dryer",), "lint blockage in air path", 1.8),
    WeakPoint("Tavrik", LAUNDRY, "partly blocked sump hose", 2.6),
    WeakPoint("Tavrik", LAUNDRY, "door lock faulty", 1.9, "320"),
    WeakPoint("Ostrel", ("tumble dryer",), "drive belt broken", 2.0),
    WeakPoint("Ostrel", ("dishwasher",), "flow heater open circuit", 2.2),
    WeakPoint("Ostrel", LAUNDRY, "worn motor brushes", 1.9),
    WeakPoint("Velsund", COLD, "defrost heater open circuit", 2.2),
    WeakPoint("Velsund", ("dishwasher",), "sump seal leak", 2.0, "720"),
    WeakPoint("Pellmore", COLD, "thermostat faulty", 1.9),
    WeakPoint("Pellmore", LAUNDRY, "torn door seal", 2.0),
    WeakPoint("Pellmore", ("electric oven", "cooker"), "oven element open circuit", 1.5),
    WeakPoint("Ferrowick", ("electric oven", "cooker"), "oven fan motor failed", 2.2),
    WeakPoint("Hushlo", ("vacuum cleaner",), "battery pack weak", 2.2),
)


def code(make: str, function: str, family: str | None = None) -> str | None:
    """Return how ``make`` shows that ``function`` failed, in one normal form; None if it shows nothing for it.

    In some families of a make a code means another function than in the rest (``swapped``).

    ``K41`` for digits, ``lamps 1+4`` for lamps, ``4 flashes`` for counts, the make's own sign for a table.
    """
    built = MAKES[make]
    for one, other in built.swapped.get(family or "", ()):
        function = {one: other, other: one}.get(function, function)
    number = built.numbers.get(function)
    if number is None:
        return None
    match built.rule:
        case "digits":
            return f"{built.prefix}{int(number):02d}"
        case "lamps":
            return f"lamps {number}"
        case "flashes":
            return f"{number} flashes"
        case _:
            return number.upper()

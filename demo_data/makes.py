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
        How it shows a fault: ``digits``, ``binary lamps``, ``flashes``, ``table`` or ``none``.
    prefix
        Letter before the digits.
    numbers
        Function that failed its check → number (or own sign) of the code.
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
            "E",
            _numbered(
                fill=4,
                drain=5,
                level=8,
                heat=11,
                temperature=12,
                motor=15,
                balance=17,
                door=20,
                leak=23,
                overfill=24,
                control=30,
                airflow=32,
            ),
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
            "F",
            _numbered(
                door=1,
                fill=2,
                drain=3,
                motor=5,
                temperature=6,
                heat=7,
                level=9,
                overfill=10,
                leak=12,
                balance=14,
                control=18,
                airflow=21,
            ),
        ),
        Make(
            "Tavrik",
            "T",
            {"washing machine": 20, "washer-dryer": 18, "tumble dryer": 18, "dishwasher": 14},
            "binary lamps",
            "",
            _numbered(
                fill=1,
                heat=2,
                temperature=3,
                door=4,
                drain=5,
                motor=6,
                level=7,
                leak=9,
                balance=10,
                control=12,
                overfill=13,
                airflow=14,
            ),
        ),
        Make(
            "Ostrel",
            "O",
            {"washing machine": 14, "washer-dryer": 10, "tumble dryer": 18, "dishwasher": 16},
            "flashes",
            "",
            _numbered(
                door=2,
                fill=3,
                drain=4,
                heat=5,
                temperature=6,
                motor=7,
                level=8,
                leak=9,
                balance=10,
                control=11,
                airflow=12,
                overfill=13,
            ),
            0.9,
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
                "fill": "LF",
                "drain": "dr",
                "level": "LS",
                "heat": "Ht",
                "temperature": "tP",
                "motor": "Mo",
                "balance": "Ub",
                "door": "do",
                "leak": "Lk",
                "overfill": "OF",
                "control": "Ct",
                "airflow": "AF",
                "zone": "Zn",
                "hot": "Hi",
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
            "Fennwick",
            "F",
            {"electric oven": 40, "cooker": 50, "electric hob": 35, "microwave oven": 30},
            "digits",
            "F",
            _numbered(heat=3, temperature=4, door=6, control=9, zone=11, hot=12),
            0.8,
        ),
        Make("Marrowby", "M", {"microwave oven": 25, "vacuum cleaner": 40}, "none", shows=0.0),
        Make("Hushlo", "H", {"vacuum cleaner": 60}, "none", shows=0.0),
    )
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
    WeakPoint("Fennwick", ("electric oven", "cooker"), "oven fan motor failed", 2.2),
    WeakPoint("Hushlo", ("vacuum cleaner",), "battery pack weak", 2.2),
)


def lit_lamps(number: int) -> tuple[int, ...]:
    """Lamps lit for a binary code: lamp 1 counts 1, lamp 2 counts 2, lamp 3 counts 4, lamp 4 counts 8."""
    return tuple(lamp for lamp in range(1, 5) if number >> (lamp - 1) & 1)


def code(make: str, function: str) -> str | None:
    """Return how ``make`` shows that ``function`` failed, in one normal form; None if it shows nothing for it.

    ``F05`` for digits, ``lamps 1+3`` for binary lamps, ``4 flashes`` for counts, the make's own sign for a table.
    """
    built = MAKES[make]
    number = built.numbers.get(function)
    if number is None:
        return None
    match built.rule:
        case "digits":
            return f"{built.prefix}{int(number):02d}"
        case "binary lamps":
            return "lamps " + "+".join(map(str, lit_lamps(int(number))))
        case "flashes":
            return f"{number} flashes"
        case _:
            return number.upper()

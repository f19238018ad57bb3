"""What the town says in words of its own: ways to put a complaint that tell causes apart and stand in no word list.

A manner is one way to put one complaint. What is said in it depends on the cause; which of its phrases is said does
not. Wording and chances are invented.
"""

from __future__ import annotations

from dataclasses import dataclass

from demo_data.generator.makes import COLD, LAUNDRY

OTHERWISE = 0.02  # chance of each manner where the cause has nothing to do with it


@dataclass(frozen=True)
class Manner:
    """One way to put ``symptom`` for these kinds; ``chance`` is that of saying it so, by cause."""

    name: str
    kinds: tuple[str, ...]
    symptom: str
    phrases: tuple[str, ...]
    chance: dict[str, float]


MANNERS = (
    Manner(
        "aeroplane", LAUNDRY, "noisy",
        ("like an aeroplane taking off", "you can hear it three doors down", "next door think we run a sawmill",
         "drowns the telly out", "like a cement mixer full of gravel", "sounds like a goods train"),
        {"worn drum bearings": 0.6, "tub or bearing seal leak": 0.4},
    ),
    Manner(
        "walking", LAUNDRY, "noisy",
        ("walks across the floor", "dances round the utility room", "tries to leave the kitchen",
         "moved half a metre by itself", "gallops at the end"),
        {"worn dampers": 0.6, "loose counterweight": 0.45, "load out of balance": 0.55,
         "cabinet touching worktop": 0.1},
    ),
    Manner(
        "maracas", LAUNDRY, "noisy",
        ("like somebody shaking maracas", "tinkles like a piggy bank", "plays castanets", "goes tink tink tink",
         "like a bag of marbles"),
        {"foreign object in tub or pump": 0.6, "drain pump impeller worn": 0.3},
    ),
    Manner(
        "worktop", LAUNDRY, "noisy",
        ("whole kitchen hums along", "crockery jingles with it", "worktop shivers", "cups wander on the shelf"),
        {"cabinet touching worktop": 0.7},
    ),
    Manner(
        "bathwater", LAUNDRY, "does not drain",
        ("leaves a paddling pool", "like a fish tank in there", "porthole looks like an aquarium",
         "bath stays in it", "had to bail it out with a saucepan"),
        {"blocked pump filter": 0.4, "drain pump seized or open circuit": 0.35, "control board not driving pump": 0.35,
         "blocked drain hose or standpipe": 0.3},
    ),
    Manner(
        "dribbles", LAUNDRY, "does not drain",
        ("only a dribble comes out of the pipe", "gets there in the end but pees it out", "trickles away over an hour",
         "goes out in fits and starts"),
        {"scale flake under pump flap": 0.6, "partly blocked sump hose": 0.3},
    ),
    Manner(
        "loses its way", LAUNDRY, "stops before spin",
        ("loses its way near the end", "sits there thinking about it", "forgets what it was doing",
         "goes on strike after the rinse", "stands and stares at me"),
        {"level sensor fault": 0.5, "air tube or chamber blocked": 0.3, "partly blocked sump hose": 0.08},
    ),
    Manner(
        "clicks and gives up", LAUNDRY, "does not spin",
        ("tick tick then sulks", "has a go, then sulks", "tries three times and chickens out",
         "shudders and loses heart"),
        {"tacho sensor fault": 0.55, "control board not driving motor": 0.4},
    ),
    Manner(
        "bonfire", LAUNDRY, "does not spin",
        ("whiff of fireworks", "pongs like dodgems", "smells like a toy train set", "stinks of old tram"),
        {"worn motor brushes": 0.35, "drive motor fault": 0.2},
    ),
    Manner(
        "front puddle", LAUNDRY, "leaks",
        ("wets my slippers", "a puddle by my toes", "mat at the front is sodden", "socks get soaked standing there"),
        {"torn door seal": 0.55, "blocked dispenser": 0.3},
    ),
    Manner(
        "after it", LAUNDRY, "leaks",
        ("hours after it finished the lino is a lake", "lino lifts behind it", "ceiling below has a brown ring",
         "neighbour downstairs gets drips"),
        {"loose hose or clip": 0.5, "drain pump body leak": 0.25, "tub or bearing seal leak": 0.25},
    ),
    Manner(
        "sauna", ("tumble dryer",), "takes too long",
        ("utility room is a sauna", "windows run with wet", "wallpaper peels when it is on", "walls sweat"),
        {"vent hose crushed behind dryer": 0.7, "lint blockage in air path": 0.2},
    ),
    Manner(
        "lukewarm", ("tumble dryer",), "takes too long",
        ("towels come out like a wet dog", "barely takes the chill off", "jeans need a whole evening",
         "three goes and the towels are clammy"),
        {"lint blockage in air path": 0.35, "heat-pump sealed system fault": 0.45, "drive belt slipping fan": 0.3},
    ),
    Manner(
        "fresh air", ("tumble dryer",), "does not heat",
        ("blows like the seaside", "just a fan with clothes in", "an expensive breeze", "airs them and nothing more"),
        {"heating element open circuit": 0.35, "control board not driving heater": 0.3},
    ),
    Manner(
        "warm then not", ("tumble dryer",), "does not heat",
        ("lovely and toasty then packs up", "was toasty until last week's duvets",
         "toasty for five minutes, then nowt"),
        {"thermal cut-out tripped by poor airflow": 0.55, "vent hose crushed behind dryer": 0.3},
    ),
    Manner(
        "galloping", ("tumble dryer",), "noisy",
        ("gallops like a pony", "clip clop all evening", "thuds like a drummer on a go-slow"),
        {"worn drum rollers": 0.5},
    ),
    Manner(
        "owl", ("tumble dryer",), "noisy",
        ("hoots like an owl", "shrieks like a gull", "sings one high note", "mice in the back of it"),
        {"worn rear bearing": 0.5, "tension pulley worn": 0.4, "glide strip peeled off drum": 0.15},
    ),
    Manner(
        "black marks", ("tumble dryer",), "noisy",
        ("swishes and leaves grey streaks on shirts", "shirts come out with tram lines",
         "sheets get grey tiger stripes"),
        {"glide strip peeled off drum": 0.65},
    ),
    Manner(
        "top only", ("dishwasher",), "does not clean",
        ("cups fine, plates like they were never in", "bottom basket as it went in", "only the lower half is any good",
         "egg still on the forks"),
        {"tall pan holding the spray arm": 0.45, "spray arms blocked": 0.2, "diverter stuck": 0.4},
    ),
    Manner(
        "gritty", ("dishwasher",), "does not clean",
        ("sandpaper on the mugs", "mugs feel like a beach", "coffee grounds in every cup"),
        {"sump filter blocked": 0.5, "circulation pump weak": 0.15},
    ),
    Manner(
        "milky", ("dishwasher",), "does not clean",
        ("wine glasses like bathroom windows", "tumblers gone milky", "a white bloom on the black plates"),
        {"wrong detergent or no salt": 0.7},
    ),
    Manner(
        "lukewarm fridge", COLD, "warm",
        ("butter runs", "lettuce wilts in a day", "yoghurts swell", "milk turns by Tuesday"),
        {"door seal leaking or door left open": 0.3, "thermostat faulty": 0.3, "condenser dirty": 0.3},
    ),
    Manner(
        "snow", COLD, "warm",
        ("a snowdrift at the back", "north pole behind the shelf, tropics in front",
         "grows an iceberg behind the panel"),
        {"defrost heater open circuit": 0.5, "defrost sensor fault": 0.5},
    ),
    Manner(
        "garage", COLD, "warm",
        ("lives in the garage and gave up with the frost", "out in the shed, peas gone soft in the cold snap",
         "sulks in the outhouse since November"),
        {"cold garage holds compressor off": 0.75},
    ),
    Manner(
        "lopsided", ("electric oven", "cooker"), "slow or uneven",
        ("lopsided sponges", "pizza is charcoal at the back and dough at the front",
         "biscuits tanned on the left only"),
        {"oven fan motor failed": 0.5},
    ),
    Manner(
        "draught", ("electric oven", "cooker"), "slow or uneven",
        ("you can post a letter through the gap", "knobs get roasting", "toasts my shins"),
        {"door hinge sagging": 0.6, "oven door seal worn": 0.4, "door seal worn": 0.4},
    ),
    Manner(
        "wheeze", ("vacuum cleaner",), "no suction",
        ("wheezes like grandad", "pushes the crumbs about", "cat hair laughs at it"),
        {"vacuum filter clogged": 0.35, "bin ring left out": 0.4},
    ),
)  # fmt: skip


def manners_of(kind: str, symptom: str) -> tuple[Manner, ...]:
    """Return the manners in which a complaint of a kind may be put, besides the plain one."""
    return tuple(manner for manner in MANNERS if manner.symptom == symptom and kind in manner.kinds)


PHRASES = {manner.name: manner.phrases for manner in MANNERS}

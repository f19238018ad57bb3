"""The numbers of the invented town: shares, what is said beside the main complaint, what codes and checks show, wear.

All are common practice in the trade, no source. Shares within a complaint and expected findings are in ``tables/``.
"""

from __future__ import annotations

import numpy as np

from demo_data.generator.makes import LAUNDRY

KIND_SHARE = {
    "washing machine": 38.0, "washer-dryer": 6.0, "tumble dryer": 18.0, "dishwasher": 15.0, "fridge-freezer": 7.0,
    "fridge": 2.5, "freezer": 2.0, "electric oven": 5.0, "cooker": 2.0, "electric hob": 1.5, "microwave oven": 1.2,
    "vacuum cleaner": 1.8,
}  # fmt: skip

# How often a kind is called out for each complaint (first complaint of its block in faults.csv).
COMPLAINT_RATE: dict[str, dict[str, float]] = {
    **{kind: {"does not drain": 24, "does not spin": 12, "does not heat": 10, "trips supply": 6, "leaks": 14,
    "noisy": 13,
              "door does not open or lock": 9, "does not fill": 6, "dead": 6} for kind in LAUNDRY},
    "tumble dryer": {"does not heat": 46, "drum does not turn": 25, "noisy": 17, "stops early": 12},
    "dishwasher": {"does not drain": 27, "does not clean": 25, "does not heat": 14, "leaks": 19, "does not fill": 15},
    **{kind: {"warm": 62, "water inside": 18, "noisy": 12, "dead": 8} for kind in ("fridge", "freezer",
    "fridge-freezer")},
    "electric oven": {"does not heat": 55, "slow or uneven": 27, "trips supply": 18},
    "cooker": {"does not heat": 45, "slow or uneven": 20, "trips supply": 15, "ring dead": 20},
    "electric hob": {"ring dead": 50, "zone dead": 50},
    "microwave oven": {"runs but no heat": 60, "dead": 40},
    "vacuum cleaner": {"no suction": 50, "cuts out": 25, "dead": 25},
}  # fmt: skip

AGE_MEAN = {"vacuum cleaner": 3.6, "microwave oven": 5.0, "electric oven": 8.5, "cooker": 8.5, "electric hob": 7.0}
AGE_GRID = np.arange(0.125, 18.0, 0.25)
MISTAKEN = 0.025  # share of main complaints that are not about the fault at all
STRAY_CODE = 0.003  # chance of each code the fault has nothing to do with
VAGUE = 0.03  # share of complaints that name no symptom at all
ALSO_SAID, DENIED = 0.008, 0.012  # any other symptom of the kind, said or denied without reason

# Age curves by words in the cause; the first that matches counts.
AGE_CURVES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("board", ("control board", "control", "power module", "start relay")),
    ("wear", ("brushes", "belt", "bearing", "dampers", "rollers", "pulley", "motor", "mounts", "compressor",
    "magnetron")),
    ("seal", ("seal", "gasket", "cracked", "handle", "hook", "split hose")),
    ("install", ("standpipe", "tap closed", "out of balance", "not level", "detergent", "suds", "clock", "unsuitable",
                 "left open", "hose or clip", "socket")),
    ("flat", ("block", "lint", "coated", "dirty", "clogged", "foreign", "stuck", "moisture", "ice", "drain")),
    ("spread", ("",)),
)  # fmt: skip

# Main complaint by cause where it is not just the first of its block: cause -> {symptom: chance}.
MAIN_COMPLAINT: dict[str, dict[str, float]] = {
    "blocked pump filter": {"does not drain": 0.7, "stops before spin": 0.3},
    "partly blocked sump hose": {"does not drain": 0.3, "stops before spin": 0.7},
    "blocked drain hose or standpipe": {"does not drain": 0.7, "stops before spin": 0.3},
    "drain pump seized or open circuit": {"does not drain": 0.75, "stops before spin": 0.25},
    "level sensor fault": {"does not drain": 0.2, "stops before spin": 0.8},
    "air tube or chamber blocked": {"does not drain": 0.25, "stops before spin": 0.75},
    "loose plug or wiring at pump": {"does not drain": 0.5, "stops before spin": 0.5},
    "suds lock": {"does not drain": 0.3, "stops before spin": 0.55, "leaks": 0.15},
    "worn motor brushes": {"does not spin": 0.88, "stops before spin": 0.12},
    "tacho sensor fault": {"does not spin": 0.85, "stops before spin": 0.15},
    "control board not driving motor": {"does not spin": 0.88, "stops before spin": 0.12},
    "lint blockage in air path": {"does not heat": 0.25, "takes too long": 0.75},
    "thermal cut-out tripped by poor airflow": {"does not heat": 0.85, "takes too long": 0.15},
    "drive belt slipping fan": {"does not heat": 0.3, "takes too long": 0.7},
    "heat-pump sealed system fault": {"does not heat": 0.35, "takes too long": 0.65},
    "water left holds interlock": {"door does not open or lock": 0.75, "does not drain": 0.25},
    "flood float tripped": {"does not fill": 0.75, "leaks": 0.25},
}

# Said of these kinds alone, whatever the cause: the others have no such function.
ONLY_OF: dict[str, tuple[str, ...]] = {"stops before spin": LAUNDRY, "does not spin": LAUNDRY}

# Said besides the main complaint: cause -> {symptom: chance}.
ALSO_SAID_BY_CAUSE: dict[str, dict[str, float]] = {
    "blocked pump filter": {"noisy": 0.12, "stops before spin": 0.2, "leaks": 0.03},
    "partly blocked sump hose": {"does not drain": 0.2, "stops before spin": 0.2},
    "blocked drain hose or standpipe": {"stops before spin": 0.2, "leaks": 0.08},
    "drain pump seized or open circuit": {"noisy": 0.17, "stops before spin": 0.2, "smells of burning": 0.04},
    "level sensor fault": {"does not fill": 0.06, "does not heat": 0.05},
    "air tube or chamber blocked": {"does not fill": 0.04},
    "loose plug or wiring at pump": {"stops before spin": 0.2},
    "worn motor brushes": {"smells of burning": 0.14, "noisy": 0.12},
    "load out of balance": {"noisy": 0.18},
    "drive belt off or worn": {"noisy": 0.1, "smells of burning": 0.08},
    "worn dampers": {"noisy": 0.5},
    "worn drum bearings": {"leaks": 0.07},
    "tub or bearing seal leak": {"noisy": 0.3},
    "drive motor fault": {"smells of burning": 0.2, "trips supply": 0.06},
    "thermal cut-out tripped by poor airflow": {"stops early": 0.1},
    "debris in fan": {"takes too long": 0.1},
    "worn drum rollers": {"drum does not turn": 0.05},
    "defrost heater open circuit": {"noisy": 0.1, "water inside": 0.06},
    "evaporator fan stopped": {"noisy": 0.06},
    "flood float tripped": {"leaks": 0.2},
    "sump filter blocked": {"does not clean": 0.1, "does not drain": 0.06},
    "circulation pump weak": {"noisy": 0.15},
    "spray arms blocked": {"takes too long": 0.03},
    "burnt wiring": {"smells of burning": 0.3},
    "wiring fault to earth": {"smells of burning": 0.15},
    "heater wiring fault": {"smells of burning": 0.1},
    "overheating from blockage": {"no suction": 0.25},
    "vacuum motor failing": {"smells of burning": 0.25, "noisy": 0.2},
}

# Denied because it would be the obvious next guess: first complaint of the block -> {symptom: chance}.
DENIED_BY_BLOCK: dict[str, dict[str, float]] = {
    "does not spin": {"does not drain": 0.16, "noisy": 0.03},
    "does not drain": {"leaks": 0.06, "does not fill": 0.03},
    "does not heat": {"does not spin": 0.05, "drum does not turn": 0.08, "trips supply": 0.05},
    "noisy": {"leaks": 0.06},
    "leaks": {"does not drain": 0.08},
    "door does not open or lock": {"does not drain": 0.05},
    "does not clean": {"does not drain": 0.06, "does not heat": 0.05},
    "warm": {"noisy": 0.05, "water inside": 0.03},
}

# The function a code names, by first complaint of the block: chance that it shows at all.
CODE_BY_BLOCK: dict[str, dict[str, float]] = {
    "does not drain": {"drain": 0.72},
    "does not spin": {"motor": 0.6},
    "does not heat": {"heat": 0.5},
    "leaks": {"leak": 0.25},
    "door does not open or lock": {"door": 0.62},
    "does not fill": {"fill": 0.7},
    "stops early": {"temperature": 0.06, "airflow": 0.08},
    "warm": {"temperature": 0.25},
    "zone dead": {"zone": 0.5},
}
CODE_BY_CAUSE: dict[str, dict[str, float]] = {
    "partly blocked sump hose": {"drain": 0.74, "level": 0.06},
    "level sensor fault": {"drain": 0.5, "level": 0.36},
    "air tube or chamber blocked": {"drain": 0.52, "level": 0.28},
    "control board not driving pump": {"drain": 0.6, "control": 0.15},
    "suds lock": {"drain": 0.4, "overfill": 0.12},
    "load out of balance": {"balance": 0.5, "motor": 0.08},
    "worn dampers": {"balance": 0.3, "motor": 0.05},
    "control board not driving motor": {"motor": 0.55, "control": 0.15},
    "door lock contact fault": {"door": 0.5, "motor": 0.1},
    "ntc probe out of range": {"temperature": 0.7, "heat": 0.08},
    "control board not driving heater": {"heat": 0.42, "control": 0.15},
    "scale bridging element": {"heat": 0.3},
    "lint blockage in air path": {"airflow": 0.3, "heat": 0.08},
    "thermal cut-out tripped by poor airflow": {"heat": 0.42, "airflow": 0.12},
    "drive belt slipping fan": {"airflow": 0.15, "heat": 0.1},
    "heat-pump sealed system fault": {"temperature": 0.2, "control": 0.1},
    "water left holds interlock": {"drain": 0.4, "door": 0.25},
    "flood float tripped": {"leak": 0.75, "fill": 0.05},
    "inlet valve overfilling": {"overfill": 0.5, "leak": 0.1},
    "tap closed or low pressure": {"fill": 0.8},
    "torn door seal": {"leak": 0.06},
    "blocked dispenser": {"leak": 0.05},
    "control board failed": {"control": 0.1},
    "control board fault": {"control": 0.3},
    "selector switch burnt": {},
    "control or clock not set": {},
    "fan or overheating": {"hot": 0.6},
    "leak or compressor fault": {"temperature": 0.35},
}
CODE_WRITTEN = 0.88  # a code that shows is not always written down

# What a check shows when it has nothing to do with the fault: chance of each value.
USUAL_FINDING: dict[str, dict[str, float]] = {
    "water left": {"no": 0.94, "yes": 0.06},
    "pump filter": {"clear": 0.9, "blocked": 0.1},
    "drains into bucket": {"yes": 0.95, "no": 0.05},
    "sump hose": {"clear": 0.95, "blocked": 0.05},
    "air tube": {"clear": 0.95, "blocked": 0.05},
    "pump sound": {"normal": 0.93, "hums": 0.04, "silent": 0.03},
    "pump winding": {"good": 0.97, "open": 0.03},
    "suds": {"no": 0.96, "yes": 0.04},
    "drum": {"normal": 0.92, "free": 0.02, "rough": 0.04, "stiff": 0.02},
    "belt": {"good": 0.96, "off or worn": 0.04},
    "brushes": {"good": 0.92, "worn": 0.08},
    "dampers": {"good": 0.92, "weak": 0.08},
    "load": {"even": 0.88, "single heavy item": 0.12},
    "element": {"good": 0.97, "open": 0.015, "to earth": 0.015},
    "insulation": {"good": 0.95, "low": 0.05},
    "ntc": {"good": 0.96, "out of range": 0.04},
    "wiring": {"good": 0.95, "damaged or wet": 0.05},
    "door seal": {"good": 0.93, "torn or worn": 0.07},
    "where it leaks": {"front": 0.25, "below": 0.25, "dispenser": 0.25, "back": 0.25},
    "door lock": {"good": 0.95, "burnt or broken": 0.05},
    "tap flow": {"good": 0.94, "low": 0.06},
    "inlet filter": {"clear": 0.92, "blocked": 0.08},
    "valve coil": {"good": 0.97, "open": 0.03},
    "float": {"normal": 0.96, "tripped": 0.04},
    "socket": {"live": 0.98, "dead": 0.02},
    "mains filter test": {"good": 0.97, "open": 0.03},
    "lint path": {"clear": 0.75, "blocked": 0.25},
    "thermal cut-out": {"good": 0.96, "open": 0.04},
    "capacitor": {"good": 0.96, "low": 0.04},
    "rollers": {"good": 0.9, "worn": 0.1},
    "moisture bars": {"clean": 0.8, "coated": 0.2},
    "sump filter": {"clear": 0.85, "blocked": 0.15},
    "spray arms": {"free": 0.88, "blocked": 0.12},
    "circulation sound": {"normal": 0.94, "weak": 0.04, "silent": 0.02},
    "evaporator": {"normal": 0.92, "frosted": 0.08},
    "door closes": {"tight": 0.92, "loose": 0.08},
    "fan": {"runs": 0.95, "silent": 0.03, "scrapes": 0.02},
    "condenser": {"clean": 0.85, "dirty": 0.15},
    "compressor": {"runs": 0.95, "silent": 0.025, "clicks": 0.025},
    "defrost drain": {"clear": 0.93, "blocked": 0.07},
    "thermostat test": {"good": 0.96, "faulty": 0.04},
    "oven fan": {"turns": 0.96, "still": 0.04},
    "ring": {"good": 0.96, "open": 0.04},
    "pan": {"magnetic": 0.95, "not magnetic": 0.05},
    "air path": {"clear": 0.85, "blocked": 0.15},
    "filter state": {"clean": 0.8, "clogged": 0.2},
    "cable": {"good": 0.97, "broken": 0.03},
    "battery": {"good": 0.94, "weak": 0.06},
}

# Where the fault does change a check that faults.csv does not name: (cause, finding) -> chance of each value.
FINDING_BY_CAUSE: dict[tuple[str, str], dict[str, float]] = {
    ("blocked pump filter", "drains into bucket"): {"no": 0.8, "yes": 0.2},
    ("partly blocked sump hose", "drains into bucket"): {"no": 0.4, "yes": 0.6},
    ("control board not driving pump", "drains into bucket"): {"no": 0.95, "yes": 0.05},
    ("loose plug or wiring at pump", "drains into bucket"): {"no": 0.8, "yes": 0.2},
    ("suds lock", "pump sound"): {"normal": 0.8, "hums": 0.18, "silent": 0.02},
    ("water left holds interlock", "pump filter"): {"blocked": 0.6, "clear": 0.4},
    ("tap closed or inlet filter blocked", "valve coil"): {"good": 0.97, "open": 0.03},
    ("torn door seal", "drum"): {"normal": 0.9, "free": 0.02, "rough": 0.06, "stiff": 0.02},
    ("drive motor fault", "brushes"): {"good": 0.8, "worn": 0.2},
    ("tension pulley seized", "drum"): {"normal": 0.4, "free": 0.2, "rough": 0.2, "stiff": 0.2},
    ("ice touching fan", "fan"): {"scrapes": 0.85, "silent": 0.1, "runs": 0.05},
}

# How many times as often a cause strikes in some months (1 = January).
SUMMER, WINTER, LEAF_FALL = (6, 7, 8), (11, 12, 1, 2), (9, 10, 11)
SEASONS: dict[str, tuple[tuple[int, ...], float]] = {
    "cold garage holds compressor off": (WINTER, 8.0),
    "condenser dirty": (SUMMER, 3.0),
    "leak or compressor fault": (SUMMER, 1.8),
    "door seal leaking or door left open": (SUMMER, 1.8),
    "lint blockage in air path": (WINTER, 1.8),
    "thermal cut-out tripped by poor airflow": (WINTER, 1.6),
    "vent hose crushed behind dryer": (LEAF_FALL, 2.0),
    "blocked drain hose or standpipe": (LEAF_FALL, 2.0),
    "tap closed or low pressure": (SUMMER, 2.2),
    "water in wiring": (WINTER, 1.7),
    "moisture after cleaning": ((3, 4, 12), 2.5),
    "wrong detergent or no salt": (SUMMER, 1.6),
    "oven element open circuit": ((12,), 1.8),
}

"""The odds of the invented town: what breaks, what customers say of it, what a check then shows; and the exact posterior.

Shares and expected findings come from the word lists (``pipeline/words/en``); wear with age, makes' weak points, what is
said beside the main complaint and what codes show are set here. All of them are common practice in the trade, no source.

One call is drawn as: kind → make and model → age → fault → main complaint → other things said or denied → code. A check's
result depends on the fault alone. So the posterior is exact: a finite sum, no sampling.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from demo_data.makes import FAMILIES, KIND_LETTER, LAUNDRY, MAKES, VARIANTS, WEAK_POINTS, code

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

WORDS = Path(__file__).parent.parent / "pipeline" / "words" / "en"

KIND_SHARE = {
    "washing machine": 42.0, "washer-dryer": 7.0, "tumble dryer": 13.0, "dishwasher": 15.0, "fridge-freezer": 7.0,
    "fridge": 2.5, "freezer": 2.0, "electric oven": 5.0, "cooker": 2.0, "electric hob": 1.5, "microwave oven": 1.2,
    "vacuum cleaner": 1.8,
}  # fmt: skip

# How often a kind is called out for each complaint (first complaint of its block in faults.csv).
COMPLAINT_RATE = {
    **{kind: {"does not drain": 24, "does not spin": 12, "does not heat": 10, "trips supply": 6, "leaks": 14, "noisy": 13,
              "door does not open or lock": 9, "does not fill": 6, "dead": 6} for kind in LAUNDRY},
    "tumble dryer": {"does not heat": 46, "drum does not turn": 25, "noisy": 17, "stops early": 12},
    "dishwasher": {"does not drain": 27, "does not clean": 25, "does not heat": 14, "leaks": 19, "does not fill": 15},
    **{kind: {"warm": 62, "water inside": 18, "noisy": 12, "dead": 8} for kind in ("fridge", "freezer", "fridge-freezer")},
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
    ("wear", ("brushes", "belt", "bearing", "dampers", "rollers", "pulley", "motor", "mounts", "compressor", "magnetron")),
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
    "suction motor failing": {"smells of burning": 0.25, "noisy": 0.2},
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
    "leak place": {"front": 0.25, "below": 0.25, "dispenser": 0.25, "back": 0.25},
    "door lock": {"good": 0.95, "burnt or broken": 0.05},
    "tap flow": {"good": 0.94, "low": 0.06},
    "inlet filter": {"clear": 0.92, "blocked": 0.08},
    "valve coil": {"good": 0.97, "open": 0.03},
    "float": {"normal": 0.96, "tripped": 0.04},
    "socket": {"live": 0.98, "dead": 0.02},
    "mains filter test": {"good": 0.97, "open": 0.03},
    "lint path": {"clear": 0.75, "blocked": 0.25},
    "toc": {"good": 0.96, "open": 0.04},
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


@dataclass(frozen=True)
class Fault:
    """One row of faults.csv for one kind: a cause under one block of complaints."""

    kind: str
    symptoms: tuple[str, ...]
    cause: str
    parts: tuple[str, ...]
    share: float
    action: str
    minutes: float | None
    expected: dict[str, dict[str, float]]

    @property
    def block(self) -> str:
        """First complaint of the block, which names it."""
        return self.symptoms[0]


@dataclass
class Call:
    """One call: what can be known when the phone rings, and the hidden fault (``cause``, ``fault_no``) only a simulation reads.

    ``symptoms`` maps a symptom to True (said) or False (denied). ``code`` is in normal form, None = none shown or written.
    """

    kind: str
    make: str
    model: str
    age_years: float
    symptoms: dict[str, bool]
    code: str | None
    cause: str
    fault_no: int
    results: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class KindOdds:
    """Tables of one kind. R = its faults, S = symptoms, F = findings, V = values of a finding (padded)."""

    faults: tuple[Fault, ...]
    symptoms: tuple[str, ...]
    findings: tuple[str, ...]
    values: tuple[tuple[str, ...], ...]
    rate: Floats  # (R,) before age and make
    curve: tuple[str, ...]  # (R,) age curve of each fault
    main: Floats  # (S, R)
    said: Floats  # (S, R) besides the main complaint
    denied: Floats  # (S, R)
    functions: tuple[str, ...]
    shown: Floats  # (functions, R)
    result: Floats  # (F, V, R), 0 in the padding

    @cached_property
    def position(self) -> dict[str, int]:
        """Return the row of each finding in ``result``."""
        return {finding: number for number, finding in enumerate(self.findings)}


def read_words(name: str) -> list[dict[str, str]]:
    """Read one shipped word list as text."""
    with (WORDS / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _expected(text: str) -> dict[str, dict[str, float]]:
    chances: dict[str, dict[str, float]] = {}
    for piece in filter(None, text.split("|")):
        told, chance = piece.rsplit(" ", 1)
        finding, value = told.split("=", 1)
        chances.setdefault(finding, {})[value] = float(chance)
    return chances


def _chances(fault: Fault, finding: str, values: tuple[str, ...]) -> list[float]:
    """Chance of each value: as expected for the fault, the rest shared out as usual among the values not named."""
    usual = USUAL_FINDING.get(finding, dict.fromkeys(values, 1 / len(values)))
    named = fault.expected.get(finding) or FINDING_BY_CAUSE.get((fault.cause, finding)) or {}
    rest = 1 - sum(named.values())
    others = {value: usual[value] for value in values if value not in named}
    total = sum(others.values())
    return [named[value] if value in named else rest * others[value] / total for value in values]


def age_factor(curve: str, age: Floats) -> Floats:
    """How much more often than usual a cause of this age curve strikes at an age in years."""
    late = 1 / (1 + np.exp(-(age - 6.5) / 1.4))
    match curve:
        case "wear":
            return 0.25 + 1.75 * late
        case "board":
            return 0.8 + 1.2 * np.exp(-age / 0.6) + 0.7 * late
        case "seal":
            return 0.3 + 0.13 * age
        case "install":
            return 0.75 + 2.5 * np.exp(-age / 0.5)
        case "spread":
            return 1.15 - 0.85 * np.exp(-age / 1.2)
        case _:
            return np.ones_like(age)


class World:
    """The invented town's odds; no state but the tables.

    Examples
    --------
    >>> world = World()
    >>> odds = world.posterior("washing machine", None, None, None, ["does not drain"], None, {"water left": "yes"})
    >>> round(sum(odds.values()), 6)
    1.0
    """

    def __init__(self) -> None:
        checks = read_words("checks")
        self.parts = {row["part"]: row for row in read_words("parts")}
        self.checks = {row["finding"]: row for row in checks}
        self.kinds = tuple(KIND_SHARE)
        self.odds = {kind: self._tables(kind, checks) for kind in self.kinds}
        self._ages = {kind: self._age_shares(kind) for kind in self.kinds}

    @staticmethod
    def _faults(kind: str) -> tuple[Fault, ...]:
        return tuple(
            Fault(
                kind,
                tuple(row["symptoms"].split("|")),
                row["cause"],
                tuple(filter(None, row["parts"].split("|"))),
                float(row["share"]),
                row["action"],
                float(row["minutes"]) if row["minutes"] else None,
                _expected(row["expected"]),
            )
            for row in read_words("faults")
            if kind in row["kinds"].split("|") and row["symptoms"].split("|")[0] in COMPLAINT_RATE[kind]
        )

    def _tables(self, kind: str, checks: list[dict[str, str]]) -> KindOdds:
        faults = self._faults(kind)
        block_total = {fault.block: 0.0 for fault in faults}
        for fault in faults:
            block_total[fault.block] += fault.share
        rate = np.array([COMPLAINT_RATE[kind][f.block] * f.share / block_total[f.block] for f in faults])
        mains = [MAIN_COMPLAINT.get(f.cause) if f.block in MAIN_COMPLAINT.get(f.cause, {}) else None for f in faults]
        mains = [given or {fault.block: 1.0} for given, fault in zip(mains, faults, strict=True)]
        symptoms = tuple(dict.fromkeys(
            [s for f in faults for s in f.symptoms] + [s for given in mains for s in given]
            + [s for f in faults for s in ALSO_SAID_BY_CAUSE.get(f.cause, {})]
            + [s for f in faults for s in DENIED_BY_BLOCK.get(f.block, {}) if s in block_total]
        ))  # fmt: skip
        main = np.array([[given.get(s, 0.0) for given in mains] for s in symptoms])
        main = (1 - MISTAKEN) * main + MISTAKEN * (main @ (rate / rate.sum()))[:, None]
        said = np.array([[ALSO_SAID_BY_CAUSE.get(f.cause, {}).get(s, ALSO_SAID) for f in faults] for s in symptoms])
        denied = np.array([[DENIED_BY_BLOCK.get(f.block, {}).get(s, DENIED) for f in faults] for s in symptoms])
        shows = [CODE_BY_CAUSE.get(f.cause, CODE_BY_BLOCK.get(f.block, {})) for f in faults]
        functions = tuple(dict.fromkeys(function for given in shows for function in given))
        shown = np.array([[given.get(function, 0.0) + STRAY_CODE for given in shows] for function in functions])
        mine = [row for row in checks if kind in row["kinds"].split("|")]
        values = tuple(tuple(row["values"].split("|")) for row in mine)
        result = np.zeros((len(mine), max(map(len, values)), len(faults)))
        for number, row in enumerate(mine):
            for fault_no, fault in enumerate(faults):
                result[number, : len(values[number]), fault_no] = _chances(fault, row["finding"], values[number])
        curve = tuple(next(name for name, words in AGE_CURVES if any(w in f.cause for w in words)) for f in faults)
        findings = tuple(row["finding"] for row in mine)
        return KindOdds(
            faults, symptoms, findings, values, rate, curve, main, said, denied, functions,
            shown.reshape(len(functions), len(faults)) * CODE_WRITTEN, result,
        )  # fmt: skip

    @staticmethod
    def _age_shares(kind: str) -> Floats:
        mean, shape = AGE_MEAN.get(kind, 6.3), 2.6
        weight = AGE_GRID ** (shape - 1) * np.exp(-AGE_GRID * shape / mean)
        return np.asarray(weight / weight.sum(), dtype=np.float64)

    def make_shares(self, kind: str) -> dict[str, float]:
        """Share of each make among the calls of a kind."""
        shares = {name: make.shares[kind] for name, make in MAKES.items() if kind in make.shares}
        return {name: share / sum(shares.values()) for name, share in shares.items()}

    def fault_shares(self, kind: str, make: str | None, model: str | None, age_years: float | None) -> Floats:
        """Share of each fault of the kind before anything is said; make, family or age not known are averaged over."""
        if make not in self.make_shares(kind):
            return np.asarray(
                sum(share * self.fault_shares(kind, name, None, age_years) for name, share in self.make_shares(kind).items())
            )
        family = next((name for name in FAMILIES if model and name in model), None)
        if family is None and any(w.make == make and w.family and kind in w.kinds for w in WEAK_POINTS):
            return np.asarray(sum(share * self.fault_shares(kind, make, name, age_years) for name, share in FAMILIES.items()))
        odds = self.odds[kind]
        known = age_years is not None and not np.isnan(age_years)
        ages = np.array([age_years], dtype=float) if known else AGE_GRID
        factor = np.ones(len(odds.faults))
        for weak in WEAK_POINTS:
            if weak.make == make and kind in weak.kinds and weak.family in (None, family):
                factor *= [weak.factor if fault.cause == weak.cause else 1.0 for fault in odds.faults]
        by_age = np.array([age_factor(curve, ages) for curve in odds.curve]) * (odds.rate * factor)[:, None]
        by_age /= by_age.sum(axis=0)
        return np.asarray(by_age[:, 0] if known else by_age @ self._ages[kind])

    def said_chance(self, kind: str, symptoms: Mapping[str, bool]) -> Floats:
        """Chance, under each fault, that exactly these symptoms are said (True) or denied (False) and no others."""
        odds = self.odds[kind]
        silent = 1 - odds.said - odds.denied
        each = silent.copy()
        for number, symptom in enumerate(odds.symptoms):
            if symptom in symptoms:
                each[number] = odds.said[number] if symptoms[symptom] else odds.denied[number]
        every = each.prod(axis=0)
        total = VAGUE * every
        for number, symptom in enumerate(odds.symptoms):
            if symptoms.get(symptom):
                total = total + (1 - VAGUE) * odds.main[number] * every / each[number]
        return np.asarray(total)

    def function(self, make: str | None, written: str | None) -> str | None:
        """Return the function a make's code (normal form) stands for; None if the make has no such code."""
        return next((f for f in MAKES[make].numbers if code(make, f) == written), None) if make in MAKES else None

    def code_chance(self, kind: str, make: str | None, written: str | None) -> Floats:
        """Chance, under each fault, that this code is written (None: that no code is); 1 where the make's codes are not known."""
        odds = self.odds[kind]
        if make not in MAKES:
            return np.ones(len(odds.faults))
        shown = MAKES[make].shows * odds.shown
        can = np.array([function in MAKES[make].numbers for function in odds.functions], dtype=bool)
        if written is None:
            return np.asarray(1 - shown[can].sum(axis=0))
        function = self.function(make, written)
        if function not in odds.functions:
            return np.ones(len(odds.faults))
        return np.asarray(shown[odds.functions.index(function)])

    def posterior(
        self,
        kind: str,
        make: str | None,
        model: str | None,
        age_years: float | None,
        symptoms: Mapping[str, bool] | Iterable[str],
        code: str | None,
        findings: Mapping[str, str],
    ) -> dict[str, float]:
        """Exact probability of each cause.

        Parameters
        ----------
        kind, make, model, age_years
            None (or NaN for the age) = not known, averaged over. The model's family digits are looked for in ``model``.
        symptoms
            Said symptoms; as a mapping, False means denied. What is not named counts as not said. Words unknown to the kind
            say nothing.
        code
            Normal form of ``demo_data.makes.code``; None counts as "none written".
        findings
            Finding → value of the checks done; checks not named were not done and say nothing.

        Returns
        -------
        dict
            Cause → probability, adding to one.
        """
        told = dict(symptoms) if isinstance(symptoms, Mapping) else dict.fromkeys(symptoms, True)
        weight = self.weights(kind, self.fault_shares(kind, make, model, age_years), told, make, code, findings)
        return self.by_cause(kind, weight / weight.sum())

    def weights(
        self, kind: str, shares: Floats, symptoms: Mapping[str, bool], make: str | None, code: str | None, findings: Mapping[str, str]
    ) -> Floats:
        """Shares of the faults times the chance of all that was said, shown and found; not normed."""
        odds = self.odds[kind]
        weight = shares * self.said_chance(kind, symptoms) * self.code_chance(kind, make, code)
        for finding, value in findings.items():
            number = odds.position.get(finding)
            if number is not None and value in odds.values[number]:
                weight = weight * odds.result[number, odds.values[number].index(value)]
        return np.asarray(weight if weight.sum() > 0 else shares)

    def by_cause(self, kind: str, chances: Floats) -> dict[str, float]:
        """Sum the chances of faults that have the same cause under different complaints."""
        totals: dict[str, float] = {}
        for fault, chance in zip(self.odds[kind].faults, chances, strict=True):
            totals[fault.cause] = totals.get(fault.cause, 0.0) + float(chance)
        return totals

    def call(
        self, rng: np.random.Generator, kind: str | None = None, make: str | None = None, model: str | None = None,
        age_years: float | None = None,
    ) -> Call:
        """Draw one call; what is given is kept, the rest is drawn."""
        kind = kind or _draw(rng, self.kinds, np.array(list(KIND_SHARE.values())))
        if make is None:
            shares = self.make_shares(kind)
            make = _draw(rng, tuple(shares), np.array(list(shares.values())))
        if model is None:
            family = _draw(rng, tuple(FAMILIES), np.array(list(FAMILIES.values())))
            model = MAKES[make].letter + KIND_LETTER[kind] + family + VARIANTS[rng.integers(len(VARIANTS))]
        if age_years is None:
            age_years = float(AGE_GRID[_pick(rng, self._ages[kind])] + rng.uniform(-0.125, 0.125))
        fault_no = _pick(rng, self.fault_shares(kind, make, model, age_years))
        symptoms = self.say(rng, kind, fault_no)
        shown = self.show(rng, kind, make, fault_no)
        return Call(kind, make, model, age_years, symptoms, shown, self.odds[kind].faults[fault_no].cause, fault_no)

    def say(self, rng: np.random.Generator, kind: str, fault_no: int) -> dict[str, bool]:
        """Draw what is said and denied for a fault."""
        odds = self.odds[kind]
        told: dict[str, bool] = {}
        if rng.random() >= VAGUE:
            told[odds.symptoms[_pick(rng, odds.main[:, fault_no])]] = True
        chance = rng.random(len(odds.symptoms))
        for number, symptom in enumerate(odds.symptoms):
            if symptom not in told and chance[number] < odds.said[number, fault_no] + odds.denied[number, fault_no]:
                told[symptom] = bool(chance[number] < odds.said[number, fault_no])
        return told

    def show(self, rng: np.random.Generator, kind: str, make: str, fault_no: int) -> str | None:
        """Draw the code that is written for a fault, None if none."""
        odds = self.odds[kind]
        at = rng.random()
        for number, function in enumerate(odds.functions):
            if function in MAKES[make].numbers:
                at -= MAKES[make].shows * odds.shown[number, fault_no]
                if at < 0:
                    return code(make, function)
        return None

    def finding(self, call: Call, finding: str, rng: np.random.Generator) -> str:
        """Do a check on the call's appliance: its value, the same again when asked again."""
        if finding not in call.results:
            odds = self.odds[call.kind]
            number = odds.position[finding]
            call.results[finding] = odds.values[number][_pick(rng, odds.result[number, : len(odds.values[number]), call.fault_no])]
        return call.results[finding]

    def fault(self, call: Call) -> Fault:
        """Return the hidden fault of a call."""
        return self.odds[call.kind].faults[call.fault_no]

    def is_cured(self, call: Call, *, parts: Iterable[str] = (), actions: Iterable[str] = ()) -> bool:
        """Tell whether all parts fitted and actions taken so far cure the hidden fault."""
        fault = self.fault(call)
        return set(fault.parts) <= set(parts) if fault.parts else fault.action in set(actions)

    def action_minutes(self, fault: Fault) -> float:
        """Return the minutes of the remedy: the action's own, or those of fitting its parts."""
        return fault.minutes if fault.minutes is not None else sum(float(self.parts[part]["minutes"]) for part in fault.parts)

    def part_price(self, part: str) -> float:
        """List price of a part, money."""
        return float(self.parts[part]["price"])


def _pick(rng: np.random.Generator, weights: Floats) -> int:
    return int(np.searchsorted(np.cumsum(weights), rng.random() * weights.sum(), side="right"))


def _draw(rng: np.random.Generator, items: tuple[str, ...], weights: Floats) -> str:
    return items[_pick(rng, weights)]

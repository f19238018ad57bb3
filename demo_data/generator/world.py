"""The odds of the invented town: what breaks, what is said of it, what a check then shows; and the exact posterior.

Shares and expected findings are the town's own (``tables/``): its terms are those of the word lists, its shares are
not, and some of its causes stand in no list. The tables of one kind are made in ``kind_odds.py``; wear with age,
seasons, what is said beside the main complaint and what codes show are in ``odds.py``, words of the town's own in
``own_words.py``, the makes in ``makes.py``.

One call is drawn as: kind → make and model, age, month → fault → main complaint → other things said or denied → the
words for what is said → code. A check's result depends on the fault alone. So the posterior is exact: a finite sum, no
sampling.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from demo_data.generator.kind_odds import Fault, read_words, tables_of
from demo_data.generator.makes import AGES_AHEAD, FAMILIES, KIND_LETTER, MAKES, VARIANTS, WEAK_POINTS, code
from demo_data.generator.odds import (
    AGE_GRID,
    AGE_MEAN,
    KIND_SHARE,
    SEASONS,
    VAGUE,
)
from demo_data.generator.town_phrases import OTHERWISE, Manner, manners_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

NEVER_SHOWN = 1e-12  # chance of a code whose function the kind has not


@dataclass
class Call:
    """One call: what can be known when the phone rings, and the hidden fault (``cause``, ``fault_no``).

    ``symptoms`` maps a symptom to True (said) or False (denied); ``manners`` a said symptom that may be put in words of
    the town's own to the name of the manner, empty = put plainly; ``code`` is in normal form, None = none written;
    ``results`` holds the checks done so far.
    """

    kind: str
    make: str
    model: str
    age_years: float
    symptoms: dict[str, bool]
    code: str | None
    cause: str
    fault_no: int
    month: int | None = None
    manners: dict[str, str] = field(default_factory=dict)
    results: dict[str, str] = field(default_factory=dict)


def family_of(model: str | None) -> str | None:
    """Return the family digits in a model's name; None if there are none."""
    return next((name for name in FAMILIES if model and name in model), None)


def _season(cause: str, month: int) -> float:
    months, factor = SEASONS.get(cause, ((), 1.0))
    return factor if month in months else 1.0


def _manner_chances(kind: str, symptom: str, faults: tuple[Fault, ...]) -> dict[str, Floats]:
    """Chance of each manner under each fault."""

    def chance(manner: Manner, fault: Fault) -> float:
        return manner.chance.get(fault.cause, OTHERWISE)

    return {m.name: np.array([chance(m, fault) for fault in faults]) for m in manners_of(kind, symptom)}


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
        self.odds = {kind: tables_of(kind, checks) for kind in self.kinds}
        self._manners = {(kind, s): _manner_chances(kind, s, odds.faults)
                         for kind, odds in self.odds.items() for s in odds.symptoms}  # fmt: skip
        self._ages = {kind: self._age_shares(kind) for kind in self.kinds}

    @staticmethod
    def _age_shares(kind: str) -> Floats:
        mean, shape = AGE_MEAN.get(kind, 6.3), 2.6
        weight = AGE_GRID ** (shape - 1) * np.exp(-AGE_GRID * shape / mean)
        return np.asarray(weight / weight.sum(), dtype=np.float64)

    def make_shares(self, kind: str) -> dict[str, float]:
        """Share of each make among the calls of a kind."""
        shares = {name: make.shares[kind] for name, make in MAKES.items() if kind in make.shares}
        return {name: share / sum(shares.values()) for name, share in shares.items()}

    def fault_shares(
        self, kind: str, make: str | None, model: str | None, age_years: float | None, month: int | None = None
    ) -> Floats:
        """Share of each fault of the kind before anything is said; what is not known is averaged over."""
        if make not in self.make_shares(kind):
            return np.asarray(
                sum(
                    share * self.fault_shares(kind, name, None, age_years, month)
                    for name, share in self.make_shares(kind).items()
                )
            )
        family = family_of(model)
        if family is None and any(w.make == make and w.family and kind in w.kinds for w in WEAK_POINTS):
            return np.asarray(
                sum(share * self.fault_shares(kind, make, name, age_years, month) for name, share in FAMILIES.items())
            )
        odds = self.odds[kind]
        known = age_years is not None and not np.isnan(age_years)
        ages = np.array([age_years], dtype=float) if known else AGE_GRID
        factor = np.ones(len(odds.faults))
        for weak in WEAK_POINTS:
            if weak.make == make and kind in weak.kinds and weak.family in (None, family):
                factor *= [weak.factor if fault.cause == weak.cause else 1.0 for fault in odds.faults]
        ahead = [np.maximum(ages + AGES_AHEAD.get((str(make), curve), 0.0), 0.0) for curve in odds.curve]
        by_age = np.array([age_factor(c, a) for c, a in zip(odds.curve, ahead, strict=True)])
        by_age = by_age * (odds.rate * factor)[:, None]
        months = range(1, 13) if month is None else (month,)
        by_month = by_age * np.array([[_season(fault.cause, m) for fault in odds.faults] for m in months])[:, :, None]
        shares = (by_month / by_month.sum(axis=1, keepdims=True)).mean(axis=0)
        return np.asarray(shares[:, 0] if known else shares @ self._ages[kind])

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

    def manner_chance(self, kind: str, manners: Mapping[str, str]) -> Floats:
        """Chance, under each fault, that the symptoms named are put in these manners (empty: plainly)."""
        odds = self.odds[kind]
        total = np.ones(len(odds.faults))
        for symptom, named in manners.items():
            chances = self._manners.get((kind, symptom), {})
            total = total * (chances[named] if named else 1 - sum(chances.values(), np.zeros(len(odds.faults))))
        return total

    def function(self, make: str | None, written: str | None, model: str | None = None) -> str | None:
        """Return the function a make's code (normal form) stands for; None if the make has no such code."""
        if make not in MAKES:
            return None
        return next((f for f in MAKES[make].numbers if code(make, f, family_of(model)) == written), None)

    def code_chance(self, kind: str, make: str | None, written: str | None, model: str | None = None) -> Floats:
        """Chance, under each fault, that this code is written (None: that none is); 1 for makes unknown."""
        odds = self.odds[kind]
        if make not in MAKES:
            return np.ones(len(odds.faults))
        shown = MAKES[make].shows * odds.shown
        can = np.array([function in MAKES[make].numbers for function in odds.functions], dtype=bool)
        if written is None:
            return np.asarray(1 - shown[can].sum(axis=0))
        function = self.function(make, written, model)
        if function not in odds.functions:
            return np.full(len(odds.faults), NEVER_SHOWN)
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
        *,
        month: int | None = None,
        manners: Mapping[str, str] | None = None,
    ) -> dict[str, float]:
        """Exact probability of each cause.

        Parameters
        ----------
        kind, make, model, age_years
            None (or NaN for the age) = not known, averaged over. The model's family digits are looked for in ``model``.
        symptoms
            Said symptoms; as a mapping, False means denied. What is not named counts as not said. Words unknown to
            the kind say nothing.
        code
            Normal form of ``demo_data.generator.makes.code``; None counts as "none written".
        findings
            Finding → value of the checks done; checks not named were not done and say nothing.
        month
            Month of the call, 1 to 12; None is averaged over.
        manners
            Said symptom → the manner it was put in, empty = plainly; a symptom not named says nothing by its words.

        Returns
        -------
        dict
            Cause → probability, adding to one.
        """
        told = dict(symptoms) if isinstance(symptoms, Mapping) else dict.fromkeys(symptoms, True)
        families = dict.fromkeys([model], 1.0) if family_of(model) or make not in MAKES else FAMILIES
        weight = sum(
            share
            * self.weights(
                kind,
                self.fault_shares(kind, make, family, age_years, month),
                told,
                make,
                code,
                findings,
                model=family,
                manners=manners,
            )
            for family, share in families.items()
        )
        return self.by_cause(kind, np.asarray(weight / np.sum(weight)))

    def weights(
        self,
        kind: str,
        shares: Floats,
        symptoms: Mapping[str, bool],
        make: str | None,
        code: str | None,
        findings: Mapping[str, str],
        *,
        model: str | None = None,
        manners: Mapping[str, str] | None = None,
    ) -> Floats:
        """Shares of the faults times the chance of all that was said, shown and found; not normed."""
        odds = self.odds[kind]
        weight = shares * self.said_chance(kind, symptoms) * self.code_chance(kind, make, code, model)
        weight = weight * self.manner_chance(kind, manners or {})
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
        self,
        rng: np.random.Generator,
        kind: str | None = None,
        make: str | None = None,
        model: str | None = None,
        age_years: float | None = None,
        month: int | None = None,
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
        month = month or int(rng.integers(1, 13))
        fault_no = _pick(rng, self.fault_shares(kind, make, model, age_years, month))
        symptoms = self.say(rng, kind, fault_no)
        shown = self.show(rng, kind, make, fault_no, model)
        manners = self.put(rng, kind, fault_no, symptoms)
        cause = self.odds[kind].faults[fault_no].cause
        return Call(kind, make, model, age_years, symptoms, shown, cause, fault_no, month, manners)

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

    def put(self, rng: np.random.Generator, kind: str, fault_no: int, symptoms: Mapping[str, bool]) -> dict[str, str]:
        """Draw the manner in which each said symptom is put, where there is a choice."""
        put: dict[str, str] = {}
        for symptom in (symptom for symptom, is_said in symptoms.items() if is_said):
            chances = self._manners.get((kind, symptom), {})
            at = rng.random()
            for name, chance in chances.items():
                at -= chance[fault_no]
                if at < 0:
                    put[symptom] = name
                    break
            else:
                if chances:
                    put[symptom] = ""
        return put

    def show(
        self, rng: np.random.Generator, kind: str, make: str, fault_no: int, model: str | None = None
    ) -> str | None:
        """Draw the code that is written for a fault, None if none."""
        odds = self.odds[kind]
        at = rng.random()
        for number, function in enumerate(odds.functions):
            if function in MAKES[make].numbers:
                at -= MAKES[make].shows * odds.shown[number, fault_no]
                if at < 0:
                    return code(make, function, family_of(model))
        return None

    def finding(self, call: Call, finding: str, rng: np.random.Generator) -> str:
        """Do a check on the call's appliance: its value, the same again when asked again."""
        if finding not in call.results:
            odds = self.odds[call.kind]
            number = odds.position[finding]
            call.results[finding] = odds.values[number][
                _pick(rng, odds.result[number, : len(odds.values[number]), call.fault_no])
            ]
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
        return (
            fault.minutes
            if fault.minutes is not None
            else sum(float(self.parts[part]["minutes"]) for part in fault.parts)
        )

    def part_price(self, part: str) -> float:
        """List price of a part, money."""
        return float(self.parts[part]["price"])


def _pick(rng: np.random.Generator, weights: Floats) -> int:
    return int(np.searchsorted(np.cumsum(weights), rng.random() * weights.sum(), side="right"))


def _draw(rng: np.random.Generator, items: tuple[str, ...], weights: Floats) -> str:
    return items[_pick(rng, weights)]

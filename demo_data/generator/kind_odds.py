"""The tables of one kind: what the town's lists (``tables/``) say of its faults, as arrays."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from demo_data.generator.odds import (
    AGE_CURVES,
    ALSO_SAID,
    ALSO_SAID_BY_CAUSE,
    CODE_BY_BLOCK,
    CODE_BY_CAUSE,
    CODE_WRITTEN,
    COMPLAINT_RATE,
    DENIED,
    DENIED_BY_BLOCK,
    FINDING_BY_CAUSE,
    MAIN_COMPLAINT,
    MISTAKEN,
    ONLY_OF,
    STRAY_CODE,
    USUAL_FINDING,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

TABLES = Path(__file__).parent / "tables"


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
    """Read one table of the town as text."""
    with (TABLES / f"{name}.csv").open(encoding="utf-8", newline="") as file:
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


def _main_complaint(fault: Fault) -> dict[str, float]:
    """Chance of each main complaint: that of the block, unless the cause is told otherwise under this block."""
    told = {
        symptom: p for symptom, p in MAIN_COMPLAINT.get(fault.cause, {}).items() if _can_be_said(fault.kind, symptom)
    }
    return (
        {symptom: p / sum(told.values()) for symptom, p in told.items()} if fault.block in told else {fault.block: 1.0}
    )


def _also_said(fault: Fault) -> dict[str, float]:
    told = ALSO_SAID_BY_CAUSE.get(fault.cause, {})
    return {symptom: chance for symptom, chance in told.items() if _can_be_said(fault.kind, symptom)}


def _can_be_said(kind: str, symptom: str) -> bool:
    return kind in ONLY_OF.get(symptom, (kind,))


def tables_of(kind: str, checks: list[dict[str, str]]) -> KindOdds:
    """Make the tables of one kind; ``checks`` are all rows of checks.csv."""
    faults = _faults(kind)
    block_total = {fault.block: 0.0 for fault in faults}
    for fault in faults:
        block_total[fault.block] += fault.share
    rate = np.array([COMPLAINT_RATE[kind][f.block] * f.share / block_total[f.block] for f in faults])
    mains = [_main_complaint(fault) for fault in faults]
    symptoms = tuple(dict.fromkeys(
        [s for f in faults for s in f.symptoms] + [s for given in mains for s in given]
        + [s for f in faults for s in _also_said(f)]
        + [s for f in faults for s in DENIED_BY_BLOCK.get(f.block, {}) if s in block_total]
    ))  # fmt: skip
    main = np.array([[given.get(s, 0.0) for given in mains] for s in symptoms])
    main = (1 - MISTAKEN) * main + MISTAKEN * (main @ (rate / rate.sum()))[:, None]
    said = np.array([[_also_said(f).get(s, ALSO_SAID) for f in faults] for s in symptoms])
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

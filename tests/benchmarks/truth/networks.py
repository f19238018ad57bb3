"""Published diagnosis networks as worlds whose exact answer is known.

Networks are read from the copies packaged with pgmpy (a test-only dependency).
"""

from __future__ import annotations

import gzip
import hashlib
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Network:
    """A Bayesian network: states, parents and one table a node (own state first, then each parent's)."""

    states: dict[str, list[str]]
    parents: dict[str, list[str]]
    table: dict[str, np.ndarray]
    order: list[str]

    def sample(
        self, jobs: int, rng: np.random.Generator, forced: dict[str, np.ndarray] | None = None
    ) -> dict[str, np.ndarray]:
        """Draw ``jobs`` complete cases, some nodes forced to given states."""
        drawn: dict[str, np.ndarray] = {}
        for node in self.order:
            if forced and node in forced:
                drawn[node] = forced[node]
                continue
            chance = self.table[node][(slice(None), *(drawn[parent] for parent in self.parents[node]))]
            if chance.ndim == 1:
                chance = np.repeat(chance[:, None], jobs, axis=1)
            below = np.cumsum(chance, axis=0) < rng.random(jobs)
            drawn[node] = np.minimum(below.sum(axis=0), len(self.states[node]) - 1)
        return drawn

    def evidence_chance(self, seen: dict[str, int], keep: str | None) -> np.ndarray:
        """P(seen, keep) as a vector over the states of ``keep`` (a number when None), by exact elimination."""
        needed, waiting = set(), [*seen, *([keep] if keep else [])]
        while waiting:
            node = waiting.pop()
            if node not in needed:
                needed.add(node)
                waiting.extend(self.parents[node])
        number = {node: k for k, node in enumerate(n for n in self.order if n in needed and n not in seen)}
        operands: list[object] = []
        for node in self.order:
            if node not in needed:
                continue
            around = [node, *self.parents[node]]
            picked = self.table[node][tuple(seen[n] if n in seen else slice(None) for n in around)]
            operands += [picked, [number[n] for n in around if n not in seen]]
        return np.asarray(np.einsum(*operands, [number[keep]] if keep else [], optimize="greedy"))


def read_network(name: str) -> Network:
    """Read a packaged BIF file by name, e.g. ``pathfinder``."""
    import pgmpy
    from pgmpy.readwrite import BIFReader

    packed = Path(pgmpy.__file__).parent / "utils" / "example_models" / f"{name}.bif.gz"
    cache = Path(tempfile.gettempdir()) / f"priorjobs-{name}-{hashlib.sha256(packed.read_bytes()).hexdigest()[:12]}.npz"
    if not cache.exists():
        model = BIFReader(string=gzip.decompress(packed.read_bytes()).decode()).get_model()
        kept: dict[str, np.ndarray] = {"nodes": np.array(list(model.nodes()), dtype=str)}
        for node in model.nodes():
            table = model.get_cpds(node)
            kept[f"t:{node}"] = np.asarray(table.values, dtype=float)
            kept[f"s:{node}"] = np.array(table.state_names[node], dtype=str)
            kept[f"p:{node}"] = np.array(table.variables[1:], dtype=str)
        np.savez_compressed(cache, **kept)
    kept = dict(np.load(cache))
    nodes = [str(n) for n in kept["nodes"]]
    parents = {node: [str(p) for p in kept[f"p:{node}"]] for node in nodes}
    order: list[str] = []
    while len(order) < len(nodes):
        order += [n for n in nodes if n not in order and all(p in order for p in parents[n])]
    return Network(
        {n: [str(s) for s in kept[f"s:{n}"]] for n in nodes}, parents, {n: kept[f"t:{n}"] for n in nodes}, order
    )


@dataclass(frozen=True)
class Jobs:
    """Jobs of a world: what is known (NaN = not known), the cause, and the exact posterior where asked for."""

    facts: pd.DataFrame
    cause: np.ndarray
    posterior: np.ndarray | None


def _hide(
    drawn: dict[str, np.ndarray],
    network: Network,
    findings: list[str],
    fewest: int,
    most: int,
    always: list[str],
    rng: np.random.Generator,
) -> pd.DataFrame:
    jobs = len(next(iter(drawn.values())))
    rank = rng.random((jobs, len(findings))).argsort(axis=1).argsort(axis=1)
    shown = rank < rng.integers(fewest, most + 1, size=jobs)[:, None]
    columns = {}
    for node in always:
        columns[node] = pd.Series(np.array(network.states[node], dtype=object)[drawn[node]])
    for k, node in enumerate(findings):
        values = np.array(network.states[node], dtype=object)[drawn[node]]
        columns[node] = pd.Series(np.where(shown[:, k], values, None), dtype=object)
    return pd.DataFrame(columns)


def single_root_jobs(
    name: str,
    root: str,
    jobs: int,
    fewest: int,
    most: int,
    seed: int,
    *,
    exact: bool,
    findings: list[str] | None = None,
) -> Jobs:
    """Jobs of a network whose cause is one root node, ``fewest`` to ``most`` findings shown at random a job."""
    network = read_network(name)
    rng = np.random.default_rng(seed)
    drawn = network.sample(jobs, rng)
    nodes = findings or [node for node in network.order if node != root]
    facts = _hide(drawn, network, nodes, min(fewest, len(nodes)), min(most, len(nodes)), [], rng)
    posterior = None
    if exact:
        posterior = np.zeros((jobs, len(network.states[root])))
        for row in range(jobs):
            seen = {node: int(drawn[node][row]) for node in nodes if facts[node].iloc[row] is not None}
            posterior[row] = network.evidence_chance(seen, root)
        posterior /= posterior.sum(axis=1, keepdims=True)
    return Jobs(facts, drawn[root], posterior)


def single_fault_jobs(
    name: str,
    circumstances: list[str],
    complaints: list[str],
    jobs: int,
    fewest: int,
    most: int,
    seed: int,
    *,
    exact: bool,
) -> Jobs:
    """Jobs of a network whose roots (less circumstances) are faults, exactly one of them present in a job.

    The fault is drawn in proportion to its odds (one present, the others healthy); complaints are always known,
    ``fewest`` to
    ``most`` of the other findings besides. Healthy is each fault's first state.
    """
    network = read_network(name)
    rng = np.random.default_rng(seed)
    faults = [node for node in network.order if not network.parents[node] and node not in circumstances]
    odds = np.array([network.table[fault][1] / network.table[fault][0] for fault in faults])
    share = odds / odds.sum()
    cause = rng.choice(len(faults), p=share, size=jobs)
    forced = {fault: (cause == k).astype(int) for k, fault in enumerate(faults)}
    drawn = network.sample(jobs, rng, forced)
    findings = [node for node in network.order if node not in faults and node not in complaints]
    facts = _hide(drawn, network, findings, fewest, most, complaints, rng)
    posterior = None
    if exact:
        posterior = np.zeros((jobs, len(faults)))
        one_cause = _joined(network, faults, share)
        for row in range(jobs):
            seen = {n: int(drawn[n][row]) for n in [*complaints, *findings] if facts[n].iloc[row] is not None}
            posterior[row] = one_cause.evidence_chance(seen, "cause")
        posterior /= posterior.sum(axis=1, keepdims=True)
    return Jobs(facts, cause, posterior)


def one_disorder_jobs(
    name: str,
    disorders: dict[str, str],
    always: list[str],
    hidden: list[str],
    jobs: int,
    fewest: int,
    most: int,
    seed: int,
    *,
    exact: bool,
) -> Jobs:
    """Jobs of a network in which exactly one disorder is present; the cause is the disorder and its state.

    Parameters
    ----------
    disorders
        Disorder → its healthy state.
    always, hidden
        Nodes known in every job; leaves that are no findings. The other leaves are findings, ``fewest`` to ``most`` of
        them shown at random a job.
    """
    network = read_network(name)
    rng = np.random.default_rng(seed)
    healthy = {node: network.states[node].index(state) for node, state in disorders.items()}
    causes = [(node, k) for node in disorders for k in range(len(network.states[node])) if k != healthy[node]]
    kept: list[dict[str, np.ndarray]] = []
    while sum(len(next(iter(part.values()))) for part in kept) < jobs:
        drawn = network.sample(4 * jobs, rng)
        is_one = sum((drawn[node] != healthy[node]).astype(int) for node in disorders) == 1
        kept.append({node: values[is_one] for node, values in drawn.items()})
    drawn = {node: np.concatenate([part[node] for part in kept])[:jobs] for node in network.order}
    cause = np.zeros(jobs, dtype=int)
    for place, (node, k) in enumerate(causes):
        cause[drawn[node] == k] = place
    parents = {parent for node in network.order for parent in network.parents[node]}
    findings = [n for n in network.order if n not in {*parents, *disorders, *always, *hidden}]
    facts = _hide(drawn, network, findings, fewest, most, always, rng)
    posterior = None
    if exact:
        posterior = np.zeros((jobs, len(causes)))
        for row in range(jobs):
            seen = {n: int(drawn[n][row]) for n in [*always, *findings] if facts[n].iloc[row] is not None}
            for place, (node, k) in enumerate(causes):
                posterior[row, place] = network.evidence_chance(seen | healthy | {node: k}, None)
        posterior /= posterior.sum(axis=1, keepdims=True)
    return Jobs(facts, cause, posterior)


def _joined(network: Network, faults: list[str], share: np.ndarray) -> Network:
    """Put one node ``cause`` in the place of all fault nodes, of which exactly one is present."""
    is_fault = set(faults)
    parents, tables = {"cause": []}, {"cause": share}
    for node in network.order:
        if node in is_fault:
            continue
        mine = network.parents[node]
        others = [parent for parent in mine if parent not in is_fault]
        if len(others) == len(mine):
            parents[node], tables[node] = mine, network.table[node]
            continue
        by_cause = []
        for fault in faults:
            at = tuple(int(parent == fault) if parent in is_fault else slice(None) for parent in mine)
            by_cause.append(network.table[node][(slice(None), *at)])
        parents[node], tables[node] = ["cause", *others], np.stack(by_cause, axis=1)
    states = {node: network.states[node] for node in parents if node != "cause"} | {"cause": faults}
    order = ["cause", *(node for node in network.order if node not in is_fault)]
    return Network(states, parents, tables, order)

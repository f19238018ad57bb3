"""What to do next at a visit: the cheapest sound order of checks and repairs, in expected money.

One fault is present (or none of those listed). A check costs money and shifts the odds; an action costs
money and cures the fault with a stated chance for each cause; what is left is handed over (bench, second visit).
Opening costs (panel off, machine tilted, a further trip for parts not in the van) are paid once and shared.

Without checks the order of falling p/c is used (Kadane & Simon 1975; Kalagnanam & Henrion 1988, arXiv 1304.2362), with
the rule for shared openings of Ottosen & Jensen 2010 (arXiv 1203.3502) and the hand-over point found by trying each
(Heckerman, Breese & Rommelse 1995, CACM 38(3)). With checks, an exact dynamic programme runs over the window of checks
and actions that fits ``states``; what stands outside the window follows in p/c order. When all fits, the plan is exact.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from threadpoolctl import ThreadpoolController

from models.plan.problem import Floats, Problem, blocks_in_pc_order, opening, values_of
from models.plan.table import Plan, Table

STATES = 10_000  # six times as many made no plan of the demo world cheaper


def make_plan(problem: Problem, states: int = STATES) -> Plan:
    """Cheapest policy found within a table of ``states`` entries.

    Parameters
    ----------
    problem
        One call. ``p`` must sum to 1 and have at least one cause.
    states
        Largest table of the dynamic programme; all checks and actions that fit are planned exactly.

    Returns
    -------
    Plan
        Its cost is what the policy really costs under the problem's own odds, never more than ``without_checks``.
    """
    with _threads().limit(limits=1, user_api="blas"):  # small products: more threads only wait for one another
        return _planned(problem, states)


@cache
def _threads() -> ThreadpoolController:
    return ThreadpoolController()


def _planned(problem: Problem, states: int) -> Plan:
    order = blocks_in_pc_order(problem)
    acting, looking = _window(problem, order, states)
    tail = [i for i in order if i not in set(acting)]
    table = Table(problem, looking, acting, tail)
    is_exact = len(looking) == len(problem.checks) and not tail
    return Plan(problem, table.node(), table.cost, is_exact)


def _window(problem: Problem, order: list[int], states: int) -> tuple[list[int], list[int]]:
    """Leading actions in p/c order and the most telling checks that fit into a table of ``states`` entries."""
    most_actions = max(1, min(len(order), int(np.log2(max(states, 2)))))
    telling = _most_telling(problem)
    acting = order[: min(most_actions, 7)]
    looking: list[int] = []
    size = 2 ** len(acting)
    for k in telling:
        radix = len(problem.checks[k].outcomes) + 1
        if size * radix <= states:
            looking.append(k)
            size *= radix
    while len(acting) < most_actions and size * 2 <= states:
        acting = order[: len(acting) + 1]
        size *= 2
    return acting, looking


def _most_telling(problem: Problem) -> list[int]:
    """Checks by what they are worth now, then by information per money: a check may pay only after another."""
    score = []
    values = values_of(problem) if problem.checks else ()
    for k, (check, value) in enumerate(zip(problem.checks, values, strict=True)):
        cost = check.cost + opening(problem, check.access)
        worth = float(value) - cost
        score.append((-max(worth, 0.0), -_information(problem.p, check.likelihood) / max(cost, 1e-9), k))
    return [k for _, _, k in sorted(score)]


def _information(p: Floats, likelihood: Floats) -> float:
    joint = p[:, None] * likelihood
    seen = joint.sum(axis=0)
    independent = p[:, None] * seen[None, :]
    there = joint > 0
    return float((joint[there] * np.log(joint[there] / independent[there])).sum())

"""The planner against published worked numbers, full enumeration and exact dynamic programming.

Worked numbers A–H: computed by full enumeration from stated inputs (references, section 1). The method is that of
Kalagnanam & Henrion 1988 (arXiv 1304.2362), Heckerman, Breese & Rommelse 1995 (CACM 38(3)), Kadane & Simon 1975,
Ottosen & Jensen 2010 (arXiv 1203.3502) and Mitten 1960 (J. Ind. Eng. 11(1)).
"""

from __future__ import annotations

from functools import cache
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.plan.plan import make_plan
from models.plan.problem import (
    Action,
    Check,
    Look,
    Problem,
    blocks_in_pc_order,
    order_cost,
    pc_order,
    values_of,
    without_checks,
)

NEVER = 1e6


def independent(p, cost, *, handover=NEVER, access=None, openings=None, checks=()):
    """One fault, each repair cures its own cause; what the odds leave to 1 is a cause that no repair cures."""
    left = 1 - sum(p)
    causes = tuple(f"cause {i}" for i in range(len(p))) + (("none of these",) if left > 1e-9 else ())
    odds = np.array([*p, left] if left > 1e-9 else list(p))
    actions = tuple(
        Action(f"repair {i}", c, np.eye(len(causes))[i], frozenset((access or {}).get(i, ())))
        for i, c in enumerate(cost)
    )
    return Problem(causes, odds, tuple(checks), actions, np.full(len(causes), float(handover)), openings or {})


def sequence(plan):
    """Names of the repairs in order, "not cured" followed."""
    names, node = [], plan.root
    while node is not None and node.do == "act":
        names.append(plan.problem.actions[node.step].name)
        node = next((after for outcome, _, after in node.branches if outcome == "not cured"), None)
    return names


A_P, A_C = (0.5, 0.3, 0.2), (20.0, 5.0, 10.0)


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        ((0, 1, 2), 24.5),
        ((0, 2, 1), 26.5),
        ((1, 0, 2), 21.0),
        ((1, 2, 0), 22.0),
        ((2, 0, 1), 27.5),
        ((2, 1, 0), 24.0),
    ],
)
def test_example_a_cost_of_every_order(order, expected):
    assert order_cost(A_P, A_C, order) == pytest.approx(expected)


def test_example_a_best_order():
    assert pc_order(A_P, A_C) == [1, 0, 2]
    plan = make_plan(independent(A_P, A_C))
    assert plan.cost == pytest.approx(21.0)
    assert sequence(plan) == ["repair 1", "repair 0", "repair 2"]


def test_example_b_check_then_repair():
    repair = (80.0, 5.0, 60.0)
    always = sum(p * c for p, c in zip(A_P, repair, strict=True))
    assert always == pytest.approx(53.5)
    costs = {order: order_cost(A_P, A_C, order) + always for order in permutations(range(3))}
    assert min(costs, key=lambda order: costs[order]) == tuple(pc_order(A_P, A_C)) == (1, 0, 2)
    assert min(costs.values()) == pytest.approx(74.5)
    blind = sorted(order_cost(A_P, repair, order) for order in permutations(range(3)))
    assert blind[:2] == pytest.approx([73.0, 87.0])
    assert make_plan(independent(A_P, repair)).cost == pytest.approx(73.0)


def test_example_c_the_last_check_need_not_be_done():
    """Decisive checks at A's costs, repairs so dear that none is tried before its cause is known."""
    dear = 1000.0
    checks = [
        Check(f"look at {i}", c, ("yes", "no"), np.array([[float(j == i), float(j != i)] for j in range(3)]))
        for i, c in enumerate(A_C)
    ]
    plan = make_plan(independent(A_P, (dear,) * 3, checks=checks))
    assert plan.is_exact
    assert plan.cost - dear == pytest.approx(12.0)
    assert plan.problem.checks[plan.root.step].name == "look at 1"


D_CURES = ((1, 2), (0, 1), (2, 3))


def test_example_d_dependent_repairs_greedy_is_not_optimal():
    p = np.array([0.20, 0.25, 0.40, 0.15])
    actions = tuple(
        Action(f"a{i + 1}", 1.0, np.array([float(f in cured) for f in range(4)])) for i, cured in enumerate(D_CURES)
    )
    problem = Problem(("f1", "f2", "f3", "f4"), p, (), actions, np.full(4, NEVER))
    assert blocks_in_pc_order(problem)[0] == 0
    assert without_checks(problem, [0, 1, 2])[0] == pytest.approx(1.50)
    found = {order: without_checks(problem, order)[0] for order in permutations(range(3))}
    assert found[(2, 1, 0)] == pytest.approx(1.45)
    assert found[(0, 2, 1)] == found[(1, 2, 0)] == pytest.approx(1.55)
    assert found[(2, 0, 1)] == pytest.approx(1.65)
    assert found[(1, 0, 2)] == pytest.approx(1.70)
    plan = make_plan(problem)
    assert plan.cost == pytest.approx(1.45)
    assert sequence(plan)[:2] == ["a3", "a2"]


E_P, E_C = (0.40, 0.25, 0.20, 0.10), (30.0, 8.0, 10.0, 2.0)


@pytest.mark.parametrize(
    ("call", "by_count"),
    [
        (25.0, (25.0, 24.5, 25.45, 26.95, 30.45)),
        (40.0, (40.0, 38.0, 35.2, 33.7, 31.2)),
        (100.0, (100.0, 92.0, 74.2, 60.7, 34.2)),
    ],
)
def test_example_e_when_to_hand_over(call, by_count):
    problem = independent(E_P, E_C, handover=call)
    order = blocks_in_pc_order(problem)
    assert order == [3, 1, 2, 0]
    reached = [without_checks(problem, order[:k]) for k in range(5)]
    for count, expected in enumerate(by_count):
        left = 1 - sum(E_P[i] for i in order[:count])
        assert order_cost(E_P, E_C, order[:count]) + call * left == pytest.approx(expected)
        assert reached[count][0] <= expected + 1e-9
    best = min(by_count)
    assert without_checks(problem) == (pytest.approx(best), by_count.index(best))
    assert make_plan(problem).cost == pytest.approx(best)


F_P, F_C = (0.5, 0.3, 0.2), (60.0, 12.0, 40.0)
F_YES = np.array([0.9, 0.2, 0.1])


@pytest.mark.parametrize("cost", [0.0, 5.0, 10.5, 10.7, 20.0])
def test_example_f_value_of_a_check(cost):
    check = Check("look", cost, ("yes", "no"), np.column_stack([F_YES, 1 - F_YES]))
    problem = independent(F_P, F_C, checks=[check])
    assert without_checks(problem)[0] == pytest.approx(62.0)
    assert values_of(problem)[0] == pytest.approx(10.6)
    plan = make_plan(problem)
    # looking later than first is allowed, so the plan may do better than "look first or never"
    assert plan.cost <= min(62.0, 51.4 + cost) + 1e-9
    if cost == 0:
        assert plan.problem.checks[plan.root.step].name == "look"


@pytest.mark.parametrize(
    ("price", "best", "first", "other"),
    [(0, 11.6, "repair 0", None), (8, 19.6, "repair 0", 20.6), (12, 22.6, "repair 2", 23.6)],
)
def test_example_g_a_panel_to_open(price, best, first, other):
    problem = independent(
        (0.3, 0.2, 0.5), (2.0, 3.0, 15.0), access={0: {"panel"}, 1: {"panel"}}, openings={"panel": float(price)}
    )
    order = blocks_in_pc_order(problem)
    assert without_checks(problem, order)[0] == pytest.approx(best)
    plan = make_plan(problem)
    assert plan.cost == pytest.approx(best)
    assert sequence(plan)[0] == first
    if other is not None:
        second = [2, 0, 1] if first == "repair 0" else [0, 1, 2]
        assert without_checks(problem, second)[0] == pytest.approx(other)


H_COST, H_REJECTS = (4.0, 2.0, 9.0), (0.5, 0.1, 0.3)


def series_cost(order):
    total, reached = 0.0, 1.0
    for i in order:
        total += reached * H_COST[i]
        reached *= 1 - H_REJECTS[i]
    return total


def test_example_h_tests_in_series():
    """Stop at the first test that rejects: the eight joint states are causes, a test "cures" those it rejects."""
    states = [tuple(bool(s >> i & 1) for i in range(3)) for s in range(8)]
    p = [np.prod([q if bad else 1 - q for q, bad in zip(H_REJECTS, state, strict=True)]) for state in states]
    actions = tuple(
        Action(f"test {i + 1}", H_COST[i], np.array([float(state[i]) for state in states])) for i in range(3)
    )
    accept = np.array([NEVER if any(state) else 0.0 for state in states])
    plan = make_plan(Problem(tuple(map(str, states)), np.array(p), (), actions, accept))
    found = {order: series_cost(order) for order in permutations(range(3))}
    assert found[(0, 1, 2)] == pytest.approx(9.05)
    assert found[(0, 2, 1)] == pytest.approx(9.20)
    assert found[(1, 0, 2)] == pytest.approx(9.65)
    assert found[(2, 1, 0)] == pytest.approx(12.92)
    assert plan.cost == pytest.approx(min(found.values()))
    assert sequence(plan) == ["test 1", "test 2", "test 3"]


def drawn(rng, causes, checks, actions, *, shared=False, looks=False):
    """A random problem: one cause more that no repair cures, uneven odds, checks with two or three outcomes."""
    p = rng.dirichlet(np.full(causes + 1, 0.8))
    access = lambda: frozenset({"panel"}) if shared and rng.random() < 0.4 else frozenset()  # noqa: E731
    observations = []
    for k in range(checks):
        outcomes = int(rng.integers(2, 4))
        likelihood = rng.dirichlet(np.full(outcomes, 0.5), size=causes + 1)
        observations.append(
            Check(f"look {k}", float(rng.uniform(1, 20)), tuple("abc"[:outcomes]), likelihood, access())
        )
    repairs = [
        Action(
            f"repair {i}",
            float(rng.uniform(5, 100)),
            np.eye(causes + 1)[i % causes],
            access(),
            *(
                (float(rng.uniform(0, 40)), Look(float(rng.uniform(1, 12)), 0.1) if rng.random() < 0.7 else None)
                if looks
                else ()
            ),
        )
        for i in range(actions)
    ]
    handover = 120 + np.append(rng.uniform(0, 80, causes), 60)
    openings = {"panel": 8.0} if shared else {}
    return Problem(tuple(map(str, range(causes + 1))), p, tuple(observations), tuple(repairs), handover, openings)


def by_recursion(problem):
    """Expected money of the best policy by plain recursion over all orders: an independent yardstick."""

    @cache
    def best(seen, done):
        mass = problem.p.copy()
        opened = set(problem.opened)
        for k, outcome in enumerate(seen):
            if outcome is not None:
                mass = mass * problem.checks[k].likelihood[:, outcome]
                opened |= problem.checks[k].access
        for i in done:
            mass = mass * (1 - problem.actions[i].cures)
            opened |= problem.actions[i].access
        opening = lambda step: sum(problem.openings[g] for g in step.access - opened)  # noqa: E731
        options = [float(mass @ problem.handover)]
        for i, action in enumerate(problem.actions):
            if i not in done:
                cured, rest = float(mass @ action.cures), float(mass @ (1 - action.cures))
                later = mass.sum() * opening(action) + best(seen, done | {i})
                options.append(cured * action.cost + rest * (action.cost + action.failed) + later)
                if action.look is not None:
                    fitted = cured * action.cost + rest * action.look.mistaken * (action.cost + action.failed)
                    options.append((cured + rest) * action.look.cost + fitted + later)
        for k, check in enumerate(problem.checks):
            if seen[k] is None:
                later = sum(best((*seen[:k], v, *seen[k + 1 :]), done) for v in range(len(check.outcomes)))
                options.append(mass.sum() * (check.cost + opening(check)) + later)
        return min(options)

    return best((None,) * len(problem.checks), frozenset())


@pytest.mark.parametrize("seed", range(12))
def test_the_table_equals_plain_recursion(seed):
    problem = drawn(
        np.random.default_rng(seed), causes=3, checks=3, actions=3, shared=seed % 2 == 1, looks=seed % 3 > 0
    )
    plan = make_plan(problem, states=10**6)
    assert plan.is_exact
    assert plan.cost == pytest.approx(by_recursion(problem))


def followed(plan):
    """Expected money of a plan by walking its tree: what is printed must cost what is claimed."""
    total, waiting = 0.0, [(plan.root, plan.problem.opened)]
    while waiting:
        node, opened = waiting.pop()
        if node.do == "hand over":
            total += node.reach * float(node.p @ plan.problem.handover)
            continue
        step = plan.problem.checks[node.step] if node.do == "check" else plan.problem.actions[node.step]
        total += node.reach * sum(plan.problem.openings[g] for g in step.access - opened)
        if node.do == "check":
            total += node.reach * step.cost
        else:
            cured = float(node.p @ step.cures)
            done = cured + (1 - cured) * (step.look.mistaken if node.is_looked_at else 1)
            total += node.reach * (done * step.cost + (done - cured) * step.failed)
            total += node.reach * step.look.cost if node.is_looked_at else 0.0
        waiting += [(after, opened | step.access) for _, _, after in node.branches if after is not None]
    return total


@pytest.mark.parametrize("states", [64, 2_000, 60_000])
def test_a_plan_costs_what_it_says_and_never_more_than_repairs_alone(states):
    rng = np.random.default_rng(3)
    for _ in range(15):
        problem = drawn(rng, causes=6, checks=5, actions=6, shared=True, looks=True)
        plan = make_plan(problem, states=states)
        assert followed(plan) == pytest.approx(plan.cost, rel=1e-6)
        assert plan.cost <= without_checks(problem)[0] + 1e-9


def test_300_random_problems_stay_within_3_percent_of_exact():
    """With a table of 10,000 states, too small for most of these problems, against one that holds every state."""
    rng = np.random.default_rng(20261125)
    over, exact_by_luck = [], 0
    for _ in range(300):
        causes, checks = int(rng.integers(3, 8)), int(rng.integers(2, 7))
        problem = drawn(rng, causes, checks, causes, shared=bool(rng.integers(2)))
        short, whole = make_plan(problem, states=10_000), make_plan(problem, states=10**7)
        assert whole.is_exact
        assert whole.cost - 1e-9 <= short.cost <= without_checks(problem)[0] + 1e-9
        over.append(short.cost / whole.cost - 1)
        exact_by_luck += short.is_exact
    assert exact_by_luck < 250
    assert np.mean(over) < 0.03


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.01, 1.0), st.floats(0.5, 100.0)), min_size=1, max_size=6),
)
def test_pc_order_equals_brute_force_in_its_optimal_case(rows):
    total = sum(weight for weight, _ in rows)
    p, cost = [weight / total for weight, _ in rows], [c for _, c in rows]
    best = min(order_cost(p, cost, order) for order in permutations(range(len(p))))
    assert order_cost(p, cost, pc_order(p, cost)) == pytest.approx(best)


@pytest.mark.parametrize(("p", "is_looked_at"), [(0.5, True), (0.8, True), (0.9, False), (0.99, False)])
def test_a_part_is_looked_at_first_where_that_pays(p, is_looked_at):
    """A look costs 8; it spares nine tenths of what fitting in vain costs, 60: it pays up to 1 - 8 / 54 = 0.852."""
    fit = Action("fit", 50.0, np.array([1.0, 0.0]), failed=10.0, look=Look(8.0, 0.1))
    plan = make_plan(Problem(("part", "other"), np.array([p, 1 - p]), (), (fit,), np.array([300.0, 300.0])))
    assert plan.root.is_looked_at is is_looked_at
    looking, at_once = 8 + p * 50 + (1 - p) * 0.1 * 60, p * 50 + (1 - p) * 60
    assert plan.cost == pytest.approx(min(looking, at_once) + (1 - p) * 300)


def test_a_part_seldom_the_cause_is_looked_at_and_seldom_fitted():
    fit = Action("fit", 80.0, np.array([1.0, 0.0]), failed=20.0, look=Look(5.0, 0.0))
    problem = Problem(("part", "other"), np.array([0.2, 0.8]), (), (fit,), np.array([250.0, 40.0]))
    plan = make_plan(problem)
    assert plan.root.is_looked_at
    assert plan.cost == pytest.approx(5 + 0.2 * 80 + 0.8 * 40)


def test_a_check_that_tells_nothing_is_never_made():
    blind = Check("look", 0.5, ("yes", "no"), np.full((3, 2), 0.5))
    plan = make_plan(independent(A_P, A_C, checks=[blind]))
    assert plan.use().get("look", 0.0) == 0.0
    assert plan.cost == pytest.approx(21.0)


def test_nothing_can_be_done_but_hand_over():
    plan = make_plan(Problem(("none of these",), np.ones(1), (), (), np.array([40.0])))
    assert plan.root.do == "hand over"
    assert plan.cost == pytest.approx(40.0)


def test_probabilities_of_use_add_up():
    problem = drawn(np.random.default_rng(8), causes=5, checks=4, actions=5)
    plan = make_plan(problem)
    for node in plan.nodes():
        if node.branches:
            assert sum(chance for _, chance, _ in node.branches) == pytest.approx(1.0, abs=1e-6)
    assert 0 <= plan.use().get("hand over", 0.0) <= 1

"""The planner against published worked numbers, full enumeration and exact dynamic programming.

Worked numbers A–H: computed by full enumeration from the inputs stated beside them. The method is that of
Kalagnanam & Henrion 1988 (arXiv 1304.2362), Heckerman, Breese & Rommelse 1995 (CACM 38(3)), Kadane & Simon 1975,
Ottosen & Jensen 2010 (arXiv 1203.3502) and Mitten 1960 (J. Ind. Eng. 11(1)).
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.plan.machine import Machine, Prices, change
from models.plan.plan import POINTS, make_plan, step_of
from models.plan.problem import Action, Check, First, Look, Problem
from tests.worlds.plan_orders import walks

NEVER = 1e6


def exactly(problem):
    """The plan searched to the end: nothing cheaper exists."""
    plan = make_plan(problem, points=20_000, optimism=1.0, tolerance=0.0)
    assert plan.is_exact
    return plan


def order_cost(p, cost, order):
    """Expected cost of trying independent repairs in order until one cures: sum of c_i (1 - sum of earlier p_j)."""
    left, total = 1.0, 0.0
    for i in order:
        total += cost[i] * left
        left -= p[i]
    return total


def pc_order(p, cost):
    """Falling p/c, ties by position."""
    return sorted(range(len(p)), key=lambda i: (-p[i] / cost[i], i))


def in_order(problem, order):
    """Expected money of the repairs in a given order with the best point to hand over."""
    mass, machine, spent = problem.p, problem.machine, 0.0
    best = float(mass @ problem.handover)
    for i in order:
        action = problem.actions[i]
        needed = change(machine, action, problem.prices)
        left = mass * (1 - action.cures)
        spent += action.expected(float((mass - left).sum()), float(left.sum())) + needed.money * float(mass.sum())
        mass, machine = left, needed.then
        best = min(best, spent + float(mass @ problem.handover))
    return best


def independent(p, cost, *, handover=NEVER, access=None, openings=None, checks=()):
    """One fault, each repair cures its own cause; what the odds leave to 1 is a cause that no repair cures."""
    left = 1 - sum(p)
    causes = tuple(f"cause {i}" for i in range(len(p))) + (("none of these",) if left > 1e-9 else ())
    odds = np.array([*p, left] if left > 1e-9 else list(p))
    actions = tuple(
        Action(f"repair {i}", c, np.eye(len(causes))[i], frozenset((access or {}).get(i, ())))
        for i, c in enumerate(cost)
    )
    return Problem(causes, odds, tuple(checks), actions, np.full(len(causes), float(handover)), Prices(openings or {}))


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
    plan = exactly(independent(A_P, (dear,) * 3, checks=checks))
    assert plan.cost - dear == pytest.approx(12.0)
    assert plan.problem.checks[plan.root.step].name == "look at 1"


D_CURES = ((1, 2), (0, 1), (2, 3))


def test_example_d_dependent_repairs_greedy_is_not_optimal():
    p = np.array([0.20, 0.25, 0.40, 0.15])
    actions = tuple(
        Action(f"a{i + 1}", 1.0, np.array([float(f in cured) for f in range(4)])) for i, cured in enumerate(D_CURES)
    )
    problem = Problem(("f1", "f2", "f3", "f4"), p, (), actions, np.full(4, NEVER))
    found = {order: in_order(problem, order) for order in permutations(range(3))}
    assert found[(0, 1, 2)] == pytest.approx(1.50)
    assert found[(2, 1, 0)] == pytest.approx(1.45)
    assert found[(0, 2, 1)] == found[(1, 2, 0)] == pytest.approx(1.55)
    assert found[(2, 0, 1)] == pytest.approx(1.65)
    assert found[(1, 0, 2)] == pytest.approx(1.70)
    plan = exactly(problem)
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
    order = pc_order(E_P, E_C)
    assert order == [3, 1, 2, 0]
    for count, expected in enumerate(by_count):
        left = 1 - sum(E_P[i] for i in order[:count])
        assert order_cost(E_P, E_C, order[:count]) + call * left == pytest.approx(expected)
    plan = make_plan(problem)
    assert plan.cost == plan.repairs_alone == pytest.approx(min(by_count))
    assert len(sequence(plan)) == by_count.index(min(by_count))


F_P, F_C = (0.5, 0.3, 0.2), (60.0, 12.0, 40.0)
F_YES = np.array([0.9, 0.2, 0.1])


@pytest.mark.parametrize("cost", [0.0, 5.0, 10.5, 10.7, 20.0])
def test_example_f_value_of_a_check(cost):
    check = Check("look", cost, ("yes", "no"), np.column_stack([F_YES, 1 - F_YES]))
    problem = independent(F_P, F_C, checks=[check])
    plan = make_plan(problem)
    assert plan.repairs_alone == pytest.approx(62.0)
    assert plan.first_costs["look"] - cost == pytest.approx(51.4)
    assert plan.repairs_alone - (plan.first_costs["look"] - cost) == pytest.approx(10.6)
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
    plan = make_plan(problem)
    assert plan.cost == pytest.approx(best)
    assert sequence(plan)[0] == first
    if other is not None:
        second = [2, 0, 1] if first == "repair 0" else [0, 1, 2]
        assert in_order(problem, second) == pytest.approx(other)


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
    plan = exactly(Problem(tuple(map(str, states)), np.array(p), (), actions, accept))
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
    prices = Prices({"panel": 8.0} if shared else {}, {"panel": 3.0}, isolating=2.0, switching_on=1.0, refilling=4.0)
    return Problem(tuple(map(str, range(causes + 1))), p, tuple(observations), tuple(repairs), handover, prices)


STATES = (
    ("needed", "on", "any"),
    ("off", "any", "any"),
    ("any", "any", "in"),
    ("needed", "on", "out"),
    ("off", "any", "out"),
)


def with_states(problem, rng):
    """The same problem where each step needs power, covers and water in some state, and a check may come first."""
    checks = tuple(
        replace(
            check,
            access=frozenset() if state[0] == "needed" else check.access,
            power=state[0],
            covers=state[1],
            water=state[2],
        )
        for check in problem.checks
        for state in [STATES[rng.integers(len(STATES))]]
    )
    actions = tuple(
        replace(
            action,
            power="off",
            water="out" if rng.random() < 0.3 else "any",
        )
        for action in problem.actions
    )
    own = checks[-1].name
    actions = tuple(
        replace(a, look=replace(a.look, after=frozenset({own}))) if a.look and rng.random() < 0.5 else a
        for a in actions
    )
    waits = frozenset(step.name for step in (*checks[1:], *actions) if rng.random() < 0.3)
    causes = rng.random(len(problem.p)) < 0.5
    first = First(checks[0].name, waits, causes, float(rng.choice([0.0, 0.1, 0.3])), bool(rng.random() < 0.3))
    return replace(problem, checks=checks, actions=actions, first=(first,))


def ruling_out(problem, rng):
    """The same problem where what a check shows may rule any repairs out."""
    names = [action.name for action in problem.actions]
    checks = (
        replace(check, rules_out={value: {name for name in names if rng.random() < 0.5} for value in check.outcomes})
        for check in problem.checks
    )
    return replace(problem, checks=tuple(checks))


def by_recursion(problem):
    """Expected money of the best policy by plain recursion over all orders: an independent yardstick."""

    @cache
    def best(seen, done, machine):
        mass = problem.p.copy()
        for k, outcome in enumerate(seen):
            if outcome is not None:
                mass = mass * problem.checks[k].likelihood[:, outcome]
        for i in done:
            mass = mass * (1 - problem.actions[i].cures)
        made = {check.name for check, outcome in zip(problem.checks, seen, strict=True) if outcome is not None}
        told = [(c, c.outcomes[o]) for c, o in zip(problem.checks, seen, strict=True) if o is not None]
        ruled_out = {name for check, outcome in told for name in check.rules_out.get(outcome, ())}
        options = [float(mass @ problem.handover)]
        waiting = set()
        for first in problem.first:
            check = next(check for check in problem.checks if check.name == first.check)
            if check.name not in made and mass @ first.causes >= first.least * mass.sum():
                needed = change(machine, check, problem.prices)
                is_spoilt = check.name in machine.spoilt
                if (first.is_strict and not is_spoilt) or (needed is not None and not needed.first):
                    waiting |= first.before
        for i, action in enumerate(problem.actions):
            needed = change(machine, action, problem.prices)
            if i not in done and needed is not None and action.name not in waiting | ruled_out:
                cured, rest = float(mass @ action.cures), float(mass @ (1 - action.cures))
                later = mass.sum() * needed.money + best(seen, done | {i}, needed.then)
                options.append(cured * action.cost + rest * (action.cost + action.failed) + later)
                there = {check.name for check in problem.checks}
                if action.look is not None and action.look.after & there <= made | machine.spoilt:
                    fitted = cured * action.cost + rest * action.look.mistaken * (action.cost + action.failed)
                    options.append((cured + rest) * action.look.cost + fitted + later)
        for k, check in enumerate(problem.checks):
            needed = change(machine, check, problem.prices)
            if seen[k] is None and needed is not None and check.name not in waiting:
                later = sum(best((*seen[:k], v, *seen[k + 1 :]), done, needed.then) for v in range(len(check.outcomes)))
                options.append(mass.sum() * (check.cost + needed.money) + later)
        return min(options)

    return best((None,) * len(problem.checks), frozenset(), problem.machine)


@pytest.mark.parametrize("seed", range(12))
def test_the_search_to_the_end_equals_plain_recursion(seed):
    rng = np.random.default_rng(seed)
    problem = drawn(rng, causes=3, checks=3, actions=3, shared=seed % 2 == 1, looks=seed % 3 > 0)
    if seed % 4 > 1:
        problem = with_states(problem, rng)
    problem = ruling_out(problem, rng) if seed > 7 else problem
    assert exactly(problem).cost == pytest.approx(by_recursion(problem))


def followed(plan):
    """Expected money of a plan by walking its tree: what is printed must cost what is claimed."""
    total, prices = 0.0, plan.problem.prices
    for node in plan.nodes():
        step = step_of(plan.problem, node)
        if node.do == "hand over":
            total += node.reach * float(node.p @ plan.problem.handover)
        if node.do == "close up":
            total += node.reach * (sum(prices.closings.get(g, 0.0) for g in node.machine.opened) + prices.switching_on)
        if node.do == "refill":
            total += node.reach * prices.refilling
        if step is None:
            continue
        needed = change(node.machine, step, prices)
        assert not needed.first
        total += node.reach * needed.money
        if node.do == "check":
            total += node.reach * step.cost
        else:
            cured = float(node.p @ step.cures)
            done = cured + (1 - cured) * (step.look.mistaken if node.is_looked_at else 1)
            total += node.reach * (done * step.cost + (done - cured) * step.failed)
            total += node.reach * step.look.cost if node.is_looked_at else 0.0
    return total


@pytest.mark.parametrize("points", [1, 20, 400])
def test_a_plan_costs_what_it_says_and_never_more_than_repairs_alone(points):
    rng = np.random.default_rng(3)
    for number in range(12):
        problem = drawn(rng, causes=6, checks=5, actions=6, shared=True, looks=True)
        problem = with_states(problem, rng) if number % 2 else problem
        problem = ruling_out(problem, rng) if number % 3 else problem
        plan = make_plan(problem, points=points)
        assert followed(plan) == pytest.approx(plan.cost, rel=1e-6)
        if not problem.first:
            assert plan.cost <= plan.repairs_alone + 1e-9


def test_random_problems_stay_within_1_percent_of_a_search_with_ten_times_the_points():
    rng = np.random.default_rng(20261125)
    over = []
    for number in range(16):  # 300 in tests/benchmarks/truth/plan_search.py
        causes, checks = int(rng.integers(3, 8)), int(rng.integers(2, 7))
        problem = drawn(rng, causes, checks, causes, shared=bool(rng.integers(2)), looks=bool(rng.integers(2)))
        problem = with_states(problem, rng) if number % 2 else problem
        short, long = make_plan(problem), make_plan(problem, points=10 * POINTS, tolerance=0.0005)
        over.append(short.cost / min(short.cost, long.cost) - 1)
    assert np.mean(over) < 0.005
    assert max(over) < 0.03


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


@pytest.mark.parametrize("seed", range(10))
def test_no_check_under_power_behind_open_covers_and_one_closing_at_most(seed):
    rng = np.random.default_rng(seed)
    problem = with_states(drawn(rng, causes=5, checks=5, actions=5, shared=True, looks=True), rng)
    plan = make_plan(problem)
    for walk in walks(plan.root):
        live, opened, closings = True, set(), 0
        for node in walk:
            step = step_of(plan.problem, node)
            if node.do == "close up":
                live, opened, closings = True, set(), closings + 1
            elif step is not None:
                if step.power == "needed":
                    assert live
                    assert not opened
                opened |= step.access
                live = live and step.power != "off" and not step.access
        assert closings <= 1


def water(name, **more):
    return Check(name, 1.0, ("yes", "no"), np.array([[0.9, 0.1], [0.1, 0.9], [0.5, 0.5]]), **more)


def test_what_lets_the_water_out_comes_after_the_look_for_it():
    look = water("look for water", water="in")
    drain = water("drain into a bucket", power="needed", covers="on", water="out")
    machine = Machine()
    after = change(machine, drain, Prices(refilling=4.0))
    assert after.then.is_drained
    assert change(after.then, look, Prices()) is None
    again = change(after.then, drain, Prices(refilling=4.0))
    assert again.first == ("refill",)
    assert again.money == 4.0


def test_covers_are_closed_up_before_power_and_only_after_a_repair():
    prices = Prices({"top": 5.0}, {"top": 3.0}, isolating=2.0, switching_on=1.0)
    behind = water("measure", access=frozenset({"top"}), power="off", covers="off")
    listen = water("listen", power="needed", covers="on")
    opened = change(Machine(), behind, prices)
    assert opened.money == 7.0
    assert change(opened.then, listen, prices) is None
    repair = Action("fit", 10.0, np.array([1.0, 0.0, 0.0]), frozenset({"top"}), power="off")
    repaired = change(opened.then, repair, prices)
    assert repaired.money == 0.0
    closing = change(repaired.then, listen, prices)
    assert closing.first == ("close up",)
    assert closing.money == 4.0
    assert closing.then.is_live
    assert not closing.then.opened


def test_what_is_blocked_and_seen_is_cleared_next_and_paid_as_one_job():
    """Looking costs 1 and 7 to reach the place, clearing 2 more: 10 in all, whichever comes first."""
    eye = np.eye(2)
    look = Check("inspect", 1.0, ("blocked", "clear"), eye, frozenset({"place"}), clears={"blocked": "clear it"})
    clear = Action("clear it", 2.0, np.array([1.0, 0.0]), frozenset({"place"}), spoils=frozenset({"inspect"}))
    problem = Problem(
        ("blockage", "other"), np.array([0.3, 0.7]), (look,), (clear,), np.array([200.0, 50.0]), Prices({"place": 7.0})
    )
    plan = make_plan(replace(problem, due="inspect"))
    (blocked,) = [after for outcome, _, after in plan.root.branches if outcome == "blocked"]
    assert blocked.do == "act"
    assert plan.cost == pytest.approx(1 + 7 + 0.3 * 2 + 0.7 * 50)
    assert make_plan(replace(problem, due="clear it")).cost == pytest.approx(2 + 7 + 0.7 * 50)


def test_no_part_before_the_look_that_must_come_first():
    blind = Check("look", 0.5, ("yes", "no"), np.full((3, 2), 0.5))
    problem = independent(A_P, A_C, checks=[blind])
    every = frozenset(action.name for action in problem.actions)
    plan = make_plan(replace(problem, first=(First("look", every, np.ones(3, dtype=bool), is_strict=True),)))
    assert plan.root.do == "check"
    assert plan.cost == pytest.approx(21.5)


@pytest.mark.parametrize("seed", range(3))
def test_no_forced_first_step_is_cheaper(seed):
    rng = np.random.default_rng(seed)
    problem = with_states(drawn(rng, causes=5, checks=5, actions=5, shared=True, looks=True), rng)
    plan = make_plan(problem)
    for name in plan.first_costs:
        assert make_plan(replace(problem, due=name)).cost >= 0.99 * plan.cost


def test_nothing_is_handed_over_before_the_looks_that_come_before_it():
    odds, names = np.array([0.9, 0.06, 0.04]), ("leak", "dust", "none of these")
    look = Check("look at dust", 2.0, ("clean", "dirty"), np.array([[0.97, 0.03], [0.1, 0.9], [0.9, 0.1]]))
    clean = Action("clean", 40.0, np.array([0.0, 1.0, 0.0]))
    problem = Problem(names, odds, (look,), (clean,), np.array([60.0, 61.0, 90.0]))
    assert make_plan(problem).root.do == "hand over"
    looked = make_plan(replace(problem, before_handover=frozenset({"look at dust"})))
    assert step_of(looked.problem, looked.root) is look
    assert all(node.owed == 0 for node in looked.nodes() if node.do == "hand over")
    assert np.isfinite(looked.cost)


def test_a_look_that_tells_nothing_of_what_is_sure_is_made_all_the_same():
    look = Check("look", 2.0, ("a", "b"), np.array([[0.9, 0.1], [0.1, 0.9]]))
    problem = Problem(("leak", "dust"), np.array([1.0 - 1e-9, 1e-9]), (look,), (), np.array([60.0, 90.0]))
    plan = make_plan(replace(problem, before_handover=frozenset({"look"})))
    assert plan.root.do == "check"
    assert plan.cost == pytest.approx(62.0)


def test_what_an_outcome_settles_is_not_checked_any_more():
    likelihood = np.array([[0.9, 0.1], [0.5, 0.5]])
    sound = Check("listen", 1.0, ("runs", "silent"), likelihood, settles={"runs": frozenset({"meter"})})
    meter = Check("meter", 1.0, ("good", "open"), np.array([[0.95, 0.05], [0.2, 0.8]]))
    fit = Action("fit", 30.0, np.array([0.0, 1.0]), failed=60.0)
    plan = make_plan(Problem(("other", "pump"), np.array([0.5, 0.5]), (sound, meter), (fit,), np.array([80.0, 90.0])))

    def below(node, ran):
        for outcome, _, after in node.branches:
            if after is not None:
                yield after, ran or outcome == "runs"
                yield from below(after, ran or outcome == "runs")

    steps = [(step_of(plan.problem, node), ran) for node, ran in below(plan.root, False)]
    assert not [step for step, ran in steps if ran and step is not None and step.name == "meter"]

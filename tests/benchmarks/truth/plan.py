"""What the plan saves in the demo world: simulated calls, repaired by several ways of working under the same physics.

    python -m tests.benchmarks.truth.plan WORKSHOP.duckdb [--calls 2000] [--seed 1] [--looks 0.93] [--costs 0.4]
        [--two-faults 0.05]

WORKSHOP.duckdb holds the demo's records and a trained model (``priorjobs demo`` makes one). Every way meets the same
calls and the same findings; minutes vary, a failed repair is noticed on site seven times in ten (else the customer calls
back), one new part in eighty is faulty, and a part that is not aboard costs a further trip: all as in the demo's own
technicians (demo_data/generator/technicians.py), whose customers here never refuse. Calls for licensed work are left
out. A look at a part before it is fitted takes 7 minutes, and 93 times in 100 (``--looks``) a good part is seen to be
good. With ``--costs 0.4`` the minutes of every check and repair are those of the lists times a number between 0.6 and
1.4, drawn once for each; with ``--two-faults`` that share of calls has a second fault, found on a further trip. What is
printed is the plan's own expectation too, beside what it really took. Checks that the world knows nothing of are not
offered.

(a) what the workshop did
    The demo's technicians: checks by their own experience, a look at every part before they fit it, and their bad
    habits, in which they fit a part at once.
(b) likeliest part first
    No checks. The likeliest part is fitted at once, then the other repairs, the likeliest first, each fitted or done
    at once. Odds are those of the plan.
(c) most probable cause first
    As (b), in order of probability alone, whether a part is needed or not.
the plan
    As printed: checks, repairs, and a look at a part before fitting where the plan says so, and only there.
(d) the plan with exact odds
    The same planner with the world's own odds and its own chances of every outcome.
"... looking at every part"
    The same way, every part looked at before it is fitted, told so or not.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from datetime import date
from unittest import mock

import numpy as np

from demo_data.generator import technicians
from demo_data.generator.technicians import LOOK_CATCHES, TECHNICIANS, Bench, Case, is_carried, price_of, work
from demo_data.generator.world import Call, World
from pipeline.call.question import Question
from pipeline.load.identity import model_family
from pipeline.settings import Settings
from pipeline.store.database import Database
from pipeline.visit.ask import ask
from pipeline.visit.costs import HANDOVER_MINUTES, Act, Costs
from pipeline.visit.known_call import Asked
from pipeline.visit.plan import CHANGES, VisitPlan, likely, minutes_of, plan_visit
from pipeline.words import Words

MOST_VISITS = 8
LONG_VISIT = 75
PLAN = "the plan"


@dataclass
class Spent:
    """What one call took."""

    minutes: float = 0.0
    parts_money: float = 0.0
    trips: int = 0
    wrong_parts: int = 0
    is_cured: bool = True
    visit_minutes: float = field(default=0.0, repr=False)

    def work(self, minutes: float) -> None:
        self.minutes += minutes
        self.visit_minutes += minutes

    def money(self, settings: Settings) -> float:
        trip = settings.trip_cost + settings.trip_minutes / 60 * settings.hour_rate
        return self.minutes / 60 * settings.hour_rate + self.parts_money + self.trips * trip


class Town:
    """The world, the workshop's knowledge of it, and its physics."""

    def __init__(
        self,
        database: Database,
        words: Words,
        settings: Settings,
        *,
        looks: float = LOOK_CATCHES,
        costs: float = 0.0,
        two_faults: float = 0.0,
    ) -> None:
        self.world, self.database, self.words, self.settings = World(), database, words, settings
        self.looks, self.costs, self.two_faults = looks, costs, two_faults
        self._times: dict[str, float] = {}

    def times(self, name: str) -> float:
        """How much longer a check or repair takes than the lists say, the same for all calls."""
        if name not in self._times:
            rng = np.random.default_rng(list(name.encode()))
            self._times[name] = rng.uniform(1 - self.costs, 1 + self.costs)
        return self._times[name]

    def plan(self, one: Asked) -> VisitPlan:
        """The plan of a call, without checks that the world knows nothing of."""
        return plan_visit(one.odds.causes, one.costs, seen=self.strange(one.costs))

    def strange(self, costs: Costs) -> set[str]:
        """Findings that the world knows nothing of."""
        known = self.world.odds[costs.trade.kind].position
        return {card.finding for card in costs.trade.checks if card.finding not in known}

    def second_fault(self, call: Call, spent: Spent, rng: np.random.Generator) -> None:
        """In some calls another fault of the kind is there too: it is found and cured on a further trip."""
        if rng.random() < self.two_faults:
            self.hand_over(call, spent, rng)

    def asked(self, calls: list[Call]) -> list[Asked]:
        """What the workshop knows of the calls before anybody goes there."""
        return ask(self.database, self.words, self.settings, [self.question(call) for call in calls])

    def question(self, call: Call) -> Question:
        """A call as the telephone gives it; what is denied is left out."""
        import pandas as pd

        family = model_family(pd.Series([call.model], dtype="str")).iloc[0]
        symptoms = tuple(symptom for symptom, is_said in call.symptoms.items() if is_said)
        codes = (call.code,) if call.code else ()
        return Question(call.kind, call.make, call.model, family, call.age_years, symptoms, codes)

    def exact_plan(self, call: Call, costs: Costs) -> VisitPlan:
        """The plan with the world's own odds and its own chances of every outcome."""
        tables = self.world.odds[call.kind]
        shares = self.world.fault_shares(call.kind, call.make, call.model, call.age_years, call.month)
        weight = self.world.weights(
            call.kind, shares, call.symptoms, call.make, call.code, {}, model=call.model, manners=call.manners
        )
        odds = self.world.by_cause(call.kind, weight / weight.sum())

        class Exact:
            jobs = costs.records.likelihoods.jobs

            @staticmethod
            def of(finding: str, values: Iterable[str], causes: Iterable[str]) -> np.ndarray:
                number, count = tables.position[finding], len(tuple(values))
                rows = []
                for cause in causes:
                    mine = np.array([fault.cause == cause for fault in tables.faults])
                    share = weight * mine if (weight * mine).sum() > 0 else weight
                    rows.append(tables.result[number, :count] @ share / share.sum())
                return np.array(rows)

        exact = Costs(costs.trade, replace(costs.records, likelihoods=Exact), self.settings)
        return plan_visit(odds, exact, seen=self.strange(costs))

    def acts_by_odds(self, asked: Asked, *, part_first: bool) -> list[Act]:
        """Repairs, the likeliest first; with ``part_first`` the likeliest that needs a part before all others."""
        odds = likely(asked.odds.causes)
        by_odds = sorted(asked.costs.acts(list(odds)), key=lambda act: -sum(odds[cause] for cause in act.cures))
        first = next((act for act in by_odds if act.parts), None) if part_first else None
        return by_odds if first is None else [first, *(act for act in by_odds if act is not first)]

    def new_visit(self, spent: Spent, rng: np.random.Generator, *, is_first: bool = False) -> None:
        spent.trips += not is_first
        spent.visit_minutes = 0.0
        spent.work(8 + rng.uniform(0, 8))

    def try_act(
        self, call: Call, act: Act, spent: Spent, aboard: set[str], rng: np.random.Generator, *, looks: bool
    ) -> bool:
        """Do one repair; tells whether the fault is gone."""
        fault = self.world.fault(call)
        is_right = set(act.parts) >= set(fault.parts) != set() if act.parts else act.name == fault.action
        if act.parts:
            if looks:
                spent.work(7 * rng.uniform(0.7, 1.5))
                if not is_right and rng.random() < self.looks:
                    return False
            if any(part not in aboard and rng.random() > is_carried(part) for part in act.parts):
                self.new_visit(spent, rng)
            while True:
                for part in act.parts:
                    known = part in self.world.parts  # what the town's lists do not hold costs what the plan was told
                    spent.parts_money += price_of(self.world, part, call.make) if known else act.price / len(act.parts)
                    minutes = float(self.world.parts[part]["minutes"]) if known else act.minutes / len(act.parts)
                    spent.work(minutes * self.times(part) * rng.uniform(0.8, 1.3))
                spent.wrong_parts += sum(part not in fault.parts for part in act.parts)
                if rng.random() >= 0.012 or not is_right:
                    break
        else:
            minutes = fault.minutes if is_right and fault.minutes is not None else self._action_minutes(call, act)
            spent.work(minutes * self.times(act.name) * rng.uniform(0.8, 1.3))
        if not is_right and (rng.random() > 0.7 or spent.visit_minutes > LONG_VISIT):
            self.new_visit(spent, rng)
        return is_right

    def _action_minutes(self, call: Call, act: Act) -> float:
        return next(
            (f.minutes for f in self.world.odds[call.kind].faults if f.action == act.name and f.minutes), act.minutes
        )

    def hand_over(self, call: Call, spent: Spent, rng: np.random.Generator) -> None:
        self.new_visit(spent, rng)
        fault = self.world.fault(call)
        spent.work(HANDOVER_MINUTES + self.world.action_minutes(fault))
        spent.parts_money += sum(price_of(self.world, part, call.make) for part in fault.parts)

    def follow(self, call: Call, visit: VisitPlan, rng: np.random.Generator, *, looks: bool) -> Spent:
        """Do what the sheet says, branch by branch."""
        spent, aboard = Spent(), {row.part for row in visit.carry if row.worth_it}
        self.new_visit(spent, rng, is_first=True)
        node = visit.plan.root
        while node is not None and node.do != "hand over":
            if node.do in CHANGES:  # closing up, refilling
                spent.work(minutes_of(visit.plan, node, visit.costs, visit.acts) * rng.uniform(0.8, 1.4))
                node = node.branches[0][2]
                continue
            if node.do == "check":
                card = visit.checks[node.step]
                seen = self.world.finding(call, card.finding, rng)
                spent.work(card.minutes * self.times(card.name) * rng.uniform(0.8, 1.4))
                node = next((after for outcome, _, after in node.branches if outcome == seen), None)
                continue
            if self.try_act(call, visit.acts[node.step], spent, aboard, rng, looks=looks or node.is_looked_at):
                self.second_fault(call, spent, rng)
                return spent
            node = next((after for outcome, _, after in node.branches if outcome == "not cured"), None)
        self.hand_over(call, spent, rng)
        return spent

    def one_by_one(self, call: Call, acts: list[Act], rng: np.random.Generator, *, looks: bool) -> Spent:
        """Repairs in the order given, no checks."""
        spent = Spent()
        self.new_visit(spent, rng, is_first=True)
        for act in acts:
            if self.try_act(call, act, spent, set(), rng, looks=looks):
                self.second_fault(call, spent, rng)
                return spent
        self.hand_over(call, spent, rng)
        return spent

    def workshop(self, call: Call, bench: Bench, rng: np.random.Generator) -> Spent:
        """What the demo's technicians do, visit after visit."""
        spent, case = Spent(), Case(call)
        technician = TECHNICIANS[rng.choice(len(TECHNICIANS), p=[t.share for t in TECHNICIANS])]
        with mock.patch.object(technicians, "_is_refused", lambda *_: False):
            while not case.is_cured and case.visits < MOST_VISITS:
                visit = work(bench, case, technician, date(2026, 6, 1), rng)
                spent.minutes += visit.minutes
                spent.parts_money += sum(price for _, price in visit.parts)
                spent.wrong_parts += sum(part not in self.world.fault(call).parts for part, _ in visit.parts)
        spent.trips, spent.is_cured = case.visits - 1, case.is_cured
        return spent


def drawn_calls(world: World, count: int, seed: int) -> list[Call]:
    """Calls whose fault is not for licensed people or beyond repair."""
    rng = np.random.default_rng(seed)
    calls: list[Call] = []
    while len(calls) < count:
        call = world.call(rng)
        if not world.fault(call).action.startswith(technicians.WORDED_REFERRAL):
            calls.append(call)
    return calls


def compare(town: Town, calls: list[Call], seed: int) -> tuple[dict[str, list[Spent]], list[VisitPlan]]:
    """Every way of working on every call, and the plans."""
    bench = Bench(town.world)
    asked = town.asked(calls)
    plans = [town.plan(one) for one in asked]
    exact = [town.exact_plan(call, one.costs) for call, one in zip(calls, asked, strict=True)]
    parts_first = [town.acts_by_odds(one, part_first=True) for one in asked]
    causes_first = [town.acts_by_odds(one, part_first=False) for one in asked]
    ways: dict[str, Callable[[int, Call, np.random.Generator], Spent]] = {
        "(a) what the workshop did": lambda n, call, rng: town.workshop(call, bench, rng),
        "(b) likeliest part first": lambda n, call, rng: town.one_by_one(call, parts_first[n], rng, looks=False),
        "(c) most probable cause first": lambda n, call, rng: town.one_by_one(call, causes_first[n], rng, looks=False),
        PLAN: lambda n, call, rng: town.follow(call, plans[n], rng, looks=False),
        "(d) the plan with exact odds": lambda n, call, rng: town.follow(call, exact[n], rng, looks=False),
        "(b) looking at every part": lambda n, call, rng: town.one_by_one(call, parts_first[n], rng, looks=True),
        "(c) looking at every part": lambda n, call, rng: town.one_by_one(call, causes_first[n], rng, looks=True),
        "the plan, looking at every part": lambda n, call, rng: town.follow(call, plans[n], rng, looks=True),
    }
    for n, call in enumerate(calls):
        rng = np.random.default_rng(
            [seed, n, 0]
        )  # not the chance of the work: what is seen must not hang together with it
        for finding in town.world.odds[call.kind].findings:
            town.world.finding(call, finding, rng)
    return {
        name: [way(n, call, np.random.default_rng([seed, n, 1])) for n, call in enumerate(calls)]
        for name, way in ways.items()
    }, plans


def table(ways: dict[str, list[Spent]], settings: Settings) -> list[str]:
    """Money, minutes, visits and wrong parts per cured job."""
    rows = [f"{'':32}{'money':>8}{'±':>6}{'minutes':>9}{'visits':>8}{'wrong parts':>13}{'one visit':>11}"]
    for name, spents in ways.items():
        cured = sum(spent.is_cured for spent in spents)
        money = np.array([spent.money(settings) for spent in spents])
        error = 1.96 * money.std() / np.sqrt(len(money))
        minutes = sum(spent.minutes for spent in spents) / cured
        visits = sum(spent.trips + 1 for spent in spents) / cured
        wrong = sum(spent.wrong_parts for spent in spents) / cured
        once = sum(spent.trips == 0 and spent.is_cured for spent in spents) / cured
        rows.append(
            f"{name:32}{money.sum() / cured:8.2f}{error:6.2f}{minutes:9.1f}{visits:8.3f}{wrong:13.4f}{once:11.1%}"
        )
    plan, wrong = (sum(each) for each in zip(*((s.money(settings), s.wrong_parts) for s in ways[PLAN]), strict=True))
    for name, spents in ways.items():
        if name != PLAN:
            other = sum(spent.money(settings) for spent in spents)
            swaps = sum(spent.wrong_parts for spent in spents)
            rows.append(f"the plan against {name}: {plan / other - 1:+.1%} money, {wrong} wrong parts to {swaps}")
    return rows


def plan_times(asked: list[Asked]) -> list[float]:
    """Seconds of processor time of one plan, odds and records at hand."""
    times = []
    for one in asked:
        start = time.process_time()
        plan_visit(one.odds.causes, one.costs)
        times.append(time.process_time() - start)
    return times


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("workshop")
    parser.add_argument("--calls", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--looks", type=float, default=LOOK_CATCHES)
    parser.add_argument("--costs", type=float, default=0.0)
    parser.add_argument("--two-faults", type=float, default=0.0)
    given = parser.parse_args()
    settings = Settings()
    with Database.open(given.workshop, read_only=True) as database:
        more = {"looks": given.looks, "costs": given.costs, "two_faults": given.two_faults}
        town = Town(database, Words.load(), settings, **more)
        calls = drawn_calls(town.world, given.calls, given.seed)
        print(f"{given.calls} calls, {more}")
        ways, plans = compare(town, calls, given.seed)
        print("\n".join(table(ways, settings)))
        for name, printed, real in (
            ("money", [plan.money for plan in plans], [spent.money(settings) for spent in ways[PLAN]]),
            ("minutes", [plan.minutes for plan in plans], [spent.minutes for spent in ways[PLAN]]),
            ("visits", [plan.visits for plan in plans], [spent.trips + 1 for spent in ways[PLAN]]),
        ):
            less = np.array(printed) - np.array(real)
            error = 1.96 * less.std() / np.sqrt(len(less))
            print(f"printed less real {name}: {less.mean():.2f} ± {error:.2f} of {np.mean(real):.2f}", flush=True)
        times = np.array(plan_times(town.asked(calls[:200]))) * 1000
        print(
            f"\none plan, processor time: median {np.median(times):.1f} ms, 95% under {np.quantile(times, 0.95):.1f} ms"
        )
    sys.stdout.flush()


if __name__ == "__main__":
    main()

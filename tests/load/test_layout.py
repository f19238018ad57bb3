"""Layouts: what they say, what they refuse, what is guessed where none is given."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import duckdb
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import LayoutError
from pipeline.load.guess import guess_layout, known_names, shipped_layout
from pipeline.load.layout import FIELDS, GRAINS, PART_FIELDS, Layout, Rule, position
from pipeline.load.layout_file import as_toml, open_layout, parse_layout, shipped
from pipeline.load.mapping import map_lines
from pipeline.words import Words

ORDS = "open-repair-data-0.3"


@pytest.fixture(scope="module")
def words() -> Words:
    return Words.load()


def mapped(layout: Layout, header: tuple[str, ...], rows: list[tuple[str | None, ...]]) -> list[dict[str, object]]:
    """Lines as the layout reads them; fields that are null are left out."""
    with duckdb.connect() as connection:
        fill(connection, header, rows)
        connection.execute("create temp table personal_hash (written varchar, hashed varchar)")
        map_lines(connection, layout, header)
        found = connection.execute("select * from line order by line_no").fetchall()
    return [{n: v for n, v in zip((*FIELDS, "other_columns"), row[1:], strict=True) if v is not None} for row in found]


def fill(connection: duckdb.DuckDBPyConnection, header: tuple[str, ...], rows: list[tuple[str | None, ...]]) -> None:
    columns = ", ".join(f"c{i + 1} varchar" for i in range(len(header)))
    connection.execute(f"create temp table incoming (line_no bigint, {columns})")
    marks = ", ".join("?" for _ in range(len(header) + 1))
    connection.executemany(f"insert into incoming values ({marks})", [(i + 2, *row) for i, row in enumerate(rows)])


def test_the_own_layout_names_every_field_and_nothing_else() -> None:
    layout = open_layout("own")
    assert tuple(layout.columns) == FIELDS
    assert all(rules == (Rule(name),) for name, rules in layout.columns.items())


def test_every_shipped_layout_opens_and_is_written_and_read_back_unchanged() -> None:
    assert set(shipped()) >= {"own", ORDS}
    for name in shipped():
        layout = open_layout(name)
        assert layout.name == name
        assert parse_layout(as_toml(layout), "other") == layout


def test_the_schema_and_the_reader_know_the_same_names() -> None:
    schema = json.loads((files("pipeline.load") / "layouts" / "layout.schema.json").read_text(encoding="utf-8"))
    assert schema["$defs"]["field"]["enum"] == [*FIELDS, *PART_FIELDS]
    assert schema["properties"]["grain"]["enum"] == list(GRAINS)
    text = '{} = 3\n[columns]\nvisit_date = "a"\n'
    for name in schema["properties"]:
        if name in ("columns", "constants", "values", "header_line"):
            continue
        with pytest.raises(LayoutError) as told:
            parse_layout(text.format(name), "x")
        assert "is an unknown setting" not in told.value.what, name
    with pytest.raises(LayoutError, match="is an unknown setting"):
        parse_layout(text.format("no_such"), "x")


def test_all_faults_of_a_layout_are_told_at_once() -> None:
    text = (
        'grain = "week"\ndecimal_mark = ";"\ncolour = "red"\ndelimiter = "ab"\nheader_line = -1\n'
        '[columns]\nwhen = "Date"\nmake = {colum = "x"}\n[constants]\noutcome = 3\n[values]\nkind = "x"\n'
    )
    with pytest.raises(LayoutError) as told:
        parse_layout(text, "office")
    for part in (
        "grain",
        "decimal_mark",
        "colour",
        "delimiter",
        "header_line",
        "when",
        "make is a column",
        "constants",
    ):
        assert part in told.value.what


@pytest.mark.parametrize("text", ["not toml [", "", "[columns]\n", 'columns = "x"', "[columns]\nvisit_date = 3"])
def test_a_layout_that_says_nothing_is_refused(text: str) -> None:
    with pytest.raises(LayoutError):
        parse_layout(text, "office")


def test_a_layout_that_is_not_there_names_the_shipped_ones(tmp_path: Path) -> None:
    with pytest.raises(LayoutError, match=ORDS):
        open_layout(tmp_path / "none.toml")


def test_a_mended_layout_has_another_label() -> None:
    first = parse_layout('name = "office"\n[columns]\nvisit_date = "Day"', "x")
    second = parse_layout('name = "office"\n[columns]\nvisit_date = "Date"', "x")
    assert first.name == second.name
    assert first.label != second.label


TEXT = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=15)


@settings(max_examples=60, deadline=None)
@given(
    columns=st.dictionaries(
        st.sampled_from(FIELDS),
        st.lists(st.builds(Rule, TEXT, st.just(()), st.none() | TEXT), min_size=1, max_size=3).map(tuple),
        min_size=1,
        max_size=5,
    ),
    constants=st.dictionaries(st.sampled_from(FIELDS), TEXT, max_size=2),
    name=TEXT,
    grain=st.sampled_from(GRAINS),
    header_line=st.none() | st.integers(0, 400),
)
def test_any_layout_is_written_and_read_back(
    columns: dict[str, tuple[Rule, ...]],
    constants: dict[str, str],
    name: str,
    grain: str,
    header_line: int | None,
) -> None:
    visits = ({"visit_date": (Rule("First"),)},) if grain == "job" else ()
    layout = Layout(
        name=name, columns=columns, constants=constants, grain=grain, header_line=header_line, visits=visits
    )
    assert parse_layout(as_toml(layout), "x") == layout


def test_columns_are_found_without_regard_to_case_and_marks_but_never_guessed() -> None:
    assert position(("Job No.", "Date"), "job no") == 0
    assert position(("Job No.", "job-no"), "JOB NO") is None
    assert position(("Job No.", "job-no"), "job-no") == 1
    assert position(("Date",), "Datum") is None


def test_the_first_rule_that_gives_a_value_counts() -> None:
    layout = Layout(
        "x",
        {
            "appliance_kind": (Rule("Group", ignore=("misc",)), Rule("Kind", after="~")),
            "age": (Rule("Age"), Rule("Year")),
        },
        constants={"technician": "JB", "age": "new"},
        values={"appliance_kind": {"w/m": "washing machine"}},
    )
    header = ("Group", "Kind", "Age", "Year", "Note")
    rows = [("Misc", "House ~ W/M ", None, "2021", "x"), ("Dryer", "y", " 3 ", "2020", None), (None, "", "", None, " ")]
    assert mapped(layout, header, rows) == [
        {"appliance_kind": "washing machine", "age": "2021", "technician": "JB", "other_columns": '{"Note":"x"}'},
        {"appliance_kind": "Dryer", "age": "3", "technician": "JB"},
        {"age": "new", "technician": "JB"},
    ]


def test_part_columns_become_the_parts_notation() -> None:
    layout = Layout(
        "x", {"part": (Rule("P"),), "part_quantity": (Rule("Q"),), "part_unit_cost": (Rule("C"),)}, grain="part"
    )
    rows = [("drain pump", "2", "34.50"), ("seal; door", None, None), (None, "1", "3")]
    assert [line.get("parts") for line in mapped(layout, ("P", "Q", "C"), rows)] == [
        "drain pump x2 @ 34.50",
        "seal, door",
        None,
    ]


def test_names_from_a_file_never_become_sql() -> None:
    nasty = "x') from incoming; drop table incoming; --"
    layout = Layout("x", {"make": (Rule("make"),)}, values={"make": {"o'b": nasty}})
    (line,) = mapped(layout, ("make", nasty), [("O'B", "'; drop table incoming; --")])
    assert line["make"] == nasty
    assert json.loads(str(line["other_columns"])) == {nasty: "'; drop table incoming; --"}


ORDS_HEADER = (
    "id", "data_provider", "country", "partner_product_category", "product_category", "product_category_id", "brand",
    "year_of_manufacture", "product_age", "repair_status", "repair_barrier_if_end_of_life", "group_identifier",
    "event_date", "problem",
)  # fmt: skip


def test_the_open_repair_layout_reads_its_own_columns() -> None:
    # Fields and statuses: Open Repair Data Standard v0.3, standard.rst and tableschema.json.
    layout = shipped_layout(ORDS_HEADER)
    assert layout is not None
    assert layout.name == ORDS
    rows = [
        ("x_1", "p", "GBR", "House ~ Washing machine", "Large home electrical", "17", "Unknown", "2015", "4",
         "Repairable", "", "g", "2019-01-05", "drips"),
        ("x_2", "p", "GBR", "Vacuum", "Vacuum", "34", "Brennick", "", "", "End of life", "Item too worn out", "g",
         "2019-01-05", ""),
    ]  # fmt: skip
    first, second = mapped(layout, ORDS_HEADER, rows)
    assert first["appliance_kind"] == "Washing machine"
    assert (first["age"], first["outcome"], first["job_no"]) == ("4", "not fixed", "x_1")
    assert "make" not in first
    assert (second["make"], second["outcome"]) == ("Brennick", "beyond economic repair")
    assert json.loads(str(second["other_columns"]))["repair_barrier_if_end_of_life"] == "Item too worn out"


# Guessing


def proposal(words: Words, frame: pd.DataFrame):
    with duckdb.connect() as connection:
        rows = [tuple(None if pd.isna(v) else str(v) for v in row) for row in frame.itertuples(index=False)]
        fill(connection, tuple(frame.columns), rows)
        return guess_layout(connection, words, tuple(frame.columns), "export")


def office_frame() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "Call No": [f"C{1000 + i}" for i in range(40)],
            "Attended": [f"{i % 28 + 1:02d}/03/2025" for i in range(40)],
            "Appliance": ["W/M", "tumble dryer", "dishwasher", "fridge freezer"] * 10,
            "Brand": ["Brennick", "Pellmore"] * 20,
            "Customer says": ["not draining", "leaking from door", "no heat", "very noisy on spin"] * 10,
            "Result": ["fixed", "part needed", "NFF", "no access"] * 10,
            "Mins": ["45", "30", "75", "20"] * 10,
            "Phone": ["07700 900123"] * 40,
            "Van": ["3"] * 40,
        }
    )


def test_an_unknown_export_is_mapped_by_headers_and_values(words: Words) -> None:
    found = proposal(words, office_frame())
    columns = {guess.field: guess.column for guess in found.guesses}
    assert columns == {
        "job_no": "Call No",
        "visit_date": "Attended",
        "appliance_kind": "Appliance",
        "make": "Brand",
        "complaint": "Customer says",
        "outcome": "Result",
        "minutes": "Mins",
    }
    assert found.layout.personal == ("Phone",)
    assert set(found.left) == {"Phone", "Van"}
    assert not found.layout.missing(tuple(office_frame().columns))
    assert all(0.35 <= guess.confidence <= 1 for guess in found.guesses)


def test_values_alone_tell_dates_kinds_and_outcomes(words: Words) -> None:
    frame = office_frame()[["Attended", "Appliance", "Result"]].set_axis(["a", "b", "c"], axis=1)
    columns = {guess.field: guess.column for guess in proposal(words, frame).guesses}
    assert columns == {"visit_date": "a", "appliance_kind": "b", "outcome": "c"}


def test_a_header_that_names_a_field_outweighs_values_that_look_like_another(words: Words) -> None:
    frame = office_frame().assign(Appliance="drain pump")
    columns = {guess.field: guess.column for guess in proposal(words, frame).guesses}
    assert columns["appliance_kind"] == "Appliance"
    assert "parts" not in columns


def test_one_line_a_part_is_recognised(words: Words) -> None:
    frame = office_frame().assign(Part="drain pump", Qty="1")
    assert proposal(words, frame).layout.grain == "part"
    assert proposal(words, office_frame()).layout.grain == "visit"


def test_a_customers_number_is_taken_before_a_name_and_what_else_may_be_it_is_told(words: Words) -> None:
    names = [f"{first} {last}" for first in ("Ann", "Bob", "Cyd", "Dee") for last in ("Ay", "Bee", "Cee", "Dow", "Eff")]
    frame = office_frame().assign(**{"Client": names * 2, "Client no": [f"K{4000 + i}" for i in range(40)]})
    guessed = proposal(words, frame)
    assert guessed.layout.columns["customer_ref"] == (Rule("Client no"),)
    assert any("customer_ref" in note and "Client" in note for note in guessed.notes)
    told = "\n".join(guessed.accepted().lines())
    (kept,) = [line for line in told.splitlines() if "kept only as keyed hash" in line]
    assert "Client" in kept
    assert not [line for line in told.splitlines() if "kept as they are" in line and "Client" in line]


def test_samples_of_customers_are_never_shown(words: Words) -> None:
    frame = office_frame().assign(Customer=[f"Ann Example {i}" for i in range(40)])
    (guess,) = [g for g in proposal(words, frame).guesses if g.field == "customer_ref"]
    assert guess.samples == ("…",)


def test_known_names_hold_what_the_shipped_layouts_ask_for() -> None:
    assert {"visit date", "event date", "job no", "seriennummer"} <= known_names()


def test_a_header_with_a_currency_names_an_amount(words: Words) -> None:
    frame = pd.DataFrame(
        {
            "Visited": ["03/11/2026", "14/11/2026"],
            "Spares": ["drain pump", "level sensor"],
            "Spares £": ["34.50", "21.00"],
            "Labour (EUR)": ["55", "65"],
            "Eng": ["A", "B"],
        }
    )
    columns = {guess.field: guess.column for guess in proposal(words, frame).guesses}
    assert columns["parts"] == "Spares"
    assert columns["parts_cost"] == "Spares £"
    assert columns["labour_charge"] == "Labour (EUR)"
    assert columns["technician"] == "Eng"

from __future__ import annotations

import hashlib
import os
import stat
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import Workshop
from pipeline.errors import DatabaseUnusable
from pipeline.load import hashes, personal_data
from pipeline.load.masked_cells import MASKED
from pipeline.load.personal_headers import is_personal
from pipeline.store.database import Database
from pipeline.words import Words
from tests.worlds.empty import empty_workshop
from tests.worlds.few_jobs import as_csv, load, rows
from tests.worlds.shared import times


def masked(text: str, customer: str | None = None) -> str:
    return personal_data.mask_contacts(pd.Series([text], dtype="str"), pd.Series([customer], dtype="str"))[0]


def test_the_key_is_made_once_with_mode_600(tmp_path: Path) -> None:
    file = tmp_path / "shop.key"
    key = hashes.load_key(file)
    assert len(key) == hashes.KEY_BYTES
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert hashes.load_key(file) == key
    assert [path.name for path in tmp_path.iterdir()] == ["shop.key"]


def test_a_key_that_others_may_read_is_closed_again(tmp_path: Path) -> None:
    file = tmp_path / "shop.key"
    key = hashes.load_key(file)
    file.chmod(0o644)
    assert hashes.load_key(file) == key
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


@pytest.mark.parametrize("content", [b"", b"00", b"\xff" * 64, b"zz" * 32, b"00" * 31])
def test_a_damaged_key_is_said_and_never_replaced(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "shop.key"
    file.write_bytes(content)
    with pytest.raises(DatabaseUnusable, match=r"shop\.key"):
        hashes.load_key(file)
    assert file.read_bytes() == content


def test_a_key_in_a_place_that_is_no_folder_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for place in (tmp_path / "missing" / "shop.key", tmp_path / "file" / "shop.key", tmp_path):
        with pytest.raises(DatabaseUnusable):
            hashes.load_key(place)


def test_processes_that_start_together_end_with_one_key(tmp_path: Path) -> None:
    code = "import sys, pathlib; from pipeline.load.hashes import load_key; print(load_key(pathlib.Path(sys.argv[1])).hex())"
    command = [sys.executable, "-c", code, str(tmp_path / "shop.key")]
    root = Path(hashes.__file__).parents[2]
    started = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=root) for _ in range(4)]
    keys = {process.communicate(timeout=60)[0] for process in started}
    assert len(keys) == 1
    assert len(keys.pop().strip()) == 2 * hashes.KEY_BYTES


def test_a_customer_is_one_keyed_hash_however_written() -> None:
    key = bytes(range(32))
    hashed = hashes.hash_customers(pd.Series(["Ann  Example", " ann example", "Bob", None, "", "n/a", "cash"]), key)
    assert hashed[0] == hashed[1] != hashed[2]
    assert hashed.isna().tolist() == [False] * 3 + [True] * 4
    expected = hashlib.blake2b(b"ann example", key=key, digest_size=16).hexdigest()
    assert hashed[0] == expected
    assert hashes.hash_customers(pd.Series(["Bob"]), os.urandom(32))[0] != hashed[2]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # numbers kept free for drama by the UK regulator (Ofcom, "Telephone numbers for use in TV and radio drama")
        ("ring 07700 900123 first", "ring [phone] first"),
        ("07700900123", "[phone]"),
        ("+44 7700 900123 or +44 (0)20 7946 0958", "[phone] or [phone]"),
        ("(020) 7946 0958.", "[phone]."),
        ("0044 7700 900 123", "[phone]"),
        ("tel: 555 0199", "tel: [phone]"),
        ("(555) 010-1234", "[phone]"),
        ("Rückruf 030 12345678", "Rückruf [phone]"),
        ("mail ann.b+c@mail.example.com, not heating", "mail [email], not heating"),
        ("ann (at) example (dot) com", "[email]"),
        ("at SW1A 1AA, gate open", "at [postcode], gate open"),
        ("m1 1ae", "[postcode]"),
        ("EC1A1BB", "[postcode]"),
        ("K1A 0B6", "[postcode]"),
        ("PLZ 12345", "PLZ [postcode]"),
        ("12 Acacia Avenue", "[address]"),
        ("Flat 2, 14b Park Road, third floor", "[address], third floor"),
        ("30 Oak Way", "[address]"),
        ("key with neighbour at 12 St Oda's Road", "key with neighbour at [address]"),
        ("15 Old Brewery Yard", "[address]"),
        ("12 Mill Bank, rear", "[address], rear"),
        ("3 New Park Road", "[address]"),
        ("fit 2 new belts", "fit 2 new belts"),
        ("1 New Drive", "1 New Drive"),
        ("8 old hoses at gate", "8 old hoses at gate"),
        ("Hauptstraße 5 klingeln", "[address] klingeln"),
        ("Hauptstr. 12, 80331 München", "[address]"),
        ("Am Markt 5, 10115 Berlin, läuft aus", "[address], läuft aus"),
        ("Auf der Heide 7a 21335 Lüneburg", "[address]"),
        ("Kerkstraat 12, 1012 AB Amsterdam", "[address]"),
        ("12 rue de la Paix, 75002 Paris", "[address]"),
        ("Mrs Smith says no spin", "[name] says no spin"),
        ("call Mr J. O'Brien", "call [name]"),
        ("Mrs Ann O'Brien wants a call", "[name] wants a call"),
        ("Herr Jörg Weiß möchte Rückruf", "[name] möchte Rückruf"),
        ("Frau Dr. Weiß anrufen, Herr Prof. Dr. van Dam auch", "[name] anrufen, [name] auch"),
        ("Frau Weiß Pumpe ist defekt", "[name] Pumpe ist defekt"),
    ],
)
def test_contact_details_are_masked(text: str, expected: str) -> None:
    assert masked(text) == expected


@pytest.mark.parametrize(
    "text",
    [
        "K07, N:07, err 7, code N-07, K07/K08, lamps 1+4, 4 flashes then pause",
        "codes 01 02 03 04 05 06",
        "N7 2nd visit, B4 1st call, E1 3rd",
        "pump 150 ohm, element 23.5 ohms, ntc 12.5k, valve 3800 Ω",
        "insulation 500 1000 2000 Mohm, 0.5 ohm 100-200",
        "part 00145223, p/n 0014522304, PMP-204-0014522, part no 01234567890",
        "serial 01234567890, S/N 07700900123",
        "1 x drain pump @ 34.50; door seal @34.50, £1,234.50, 1.234,50 EUR",
        "2024-03-05 12:30, 05/03/2024, 05.03.24 07 30",
        "4 way valve, 2 door close attempts, water left on floor 3 times by the road",
        "230V 50Hz 13A 3kW, N7 2kw, motor 1400 rpm, 8uF",
        "1200 1400 1600 rpm, readings 10 20 30 40 50 60 70",
        "model WA1204 XS, BW720, CD540W",
        "miss fires on spin, left at 5",
        "Im Sieb 3 Münzen gefunden, am Motor 230 V gemessen",
        "An der Pumpe 12 Ohm, 12000 Stunden gelaufen",
        "Am Motor 3, 12000 Stunden gelaufen",
    ],
)
def test_what_the_repair_needs_stays(text: str) -> None:
    assert masked(text) == text


@pytest.mark.parametrize(
    ("code", "expected"),
    [
        ("Dave 07700 900123", "Dave [phone]"),
        ("+447700900123", "[phone]"),
        ("(020)79460000", "[phone]"),
        ("07700--900123", "[phone]"),
        ("GB82 WEST 1234 5698 7654 32", "[account]"),
        ("4111 1111 1111 1111", "[account]"),
        ("07700900123", "07700900123"),
        ("J24-00941-201", "J24-00941-201"),
        ("BW211184315X301", "BW211184315X301"),
        ("GB82WEST12345698765432", "GB82WEST12345698765432"),
    ],
)
def test_in_a_column_of_codes_only_what_is_written_in_groups_is_masked(code: str, expected: str) -> None:
    assert personal_data.mask_contacts(pd.Series([code]), level="staff").tolist() == [expected]


def test_a_rows_own_customer_reference_is_masked_in_its_text() -> None:
    assert masked("Jane Doe says: jane doe wants a call", "Jane Doe") == "[customer] says: [customer] wants a call"
    assert masked("job C-10647 again", "C-10647") == "job [customer] again"
    assert masked("pump", "pu") == "pump"
    texts = personal_data.mask_contacts(pd.Series(["Jane Doe", "Jane Doe"]), pd.Series(["other", "a.*b"]))
    assert texts.tolist() == ["Jane Doe", "Jane Doe"]


@settings(max_examples=times(10))
@given(st.lists(st.one_of(st.none(), st.text(max_size=60)), max_size=10))
def test_any_text_keeps_its_row_and_masking_twice_changes_nothing(written: list[str | None]) -> None:
    texts = pd.Series(written, index=range(5, 5 + len(written)), dtype="str", name="complaint")
    once = personal_data.mask_contacts(texts, texts)
    assert once.index.equals(texts.index)
    assert once.isna().equals(texts.isna())
    again = personal_data.mask_contacts(texts)
    assert personal_data.mask_contacts(again).equals(again)


@given(
    st.integers(0, 999),
    st.sampled_from(["07700 900{:03d}", "+447700900{:03d}", "020 7946 0{:03d}", "0117 496 0{:03d}"]),
    st.sampled_from(["ring {}", "{}", "pump dead, {} - urgent", "({})", "tel.{}", "no heat,{}", "cust: {}."]),
)
def test_a_phone_number_is_found_wherever_it_stands(number: int, layout: str, sentence: str) -> None:
    # number ranges reserved for drama, as above
    phone = layout.format(number)
    assert "[phone]" in masked(sentence.format(phone))
    assert phone[-6:] not in masked(sentence.format(phone))


@pytest.mark.parametrize(
    ("header", "is_it"),
    [
        *(
            (name, True)
            for name in ("Customer", "customer_name", "CustName", "Phone No", "E-Mail", "post_code", "Adresse")
        ),
        *((name, False) for name in ("part_name", "ModelName", "Technician name", "notes", "")),
    ],
)
def test_headers_that_announce_personal_data(header: str, is_it: bool) -> None:
    assert is_personal(header) is is_it


def test_a_load_says_how_many_cells_of_each_column_were_masked(tmp_path: Path) -> None:
    lines = ["key at 12 Mill Bank", "ring 07700 900123", "ring 07700 900123", "noisy"]
    head = "visit_date,appliance_kind,job_no,complaint,jotter\n"
    text = "".join(f"2025-01-0{n},W/M,J{n},{line},7 Mill Lane\n" for n, line in enumerate(lines, 1))
    (tmp_path / "jobs.csv").write_text(head + text, encoding="utf-8")
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as opened:
        (told,) = [n for n in opened.load([tmp_path / "jobs.csv"]).files[0].notes if n.startswith("Masked")]
        assert '"complaint" 3' in told and "other columns 4" in told


def test_a_telephone_is_masked_in_every_column_of_text(database: Database, words: Words, without_marts: None) -> None:
    columns = [
        name for name, level in MASKED.items() if level == "text" and name not in ("appliance_kind", "other_columns")
    ]
    header = ["visit_date", "appliance_kind", "job_no", *columns, "remarks"]
    line = ["2025-01-03", "W/M", "J1", *(f"{name} 07700 900123" for name in columns), "ring 07700 900123"]
    assert load(database, words, as_csv([line], header)).totals["loaded"] == 1
    kept = rows(database, f"select {', '.join(columns)}, other_columns from raw_record")[0]
    assert ["[phone]" in cell and "900123" not in cell for cell in kept] == [True] * len(kept)

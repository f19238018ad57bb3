"""Personal data as people write it: numbers of twelve countries, addresses, accounts, names; headers of six languages.

Numbers come from ranges kept for drama where a country has such (Ofcom, NANPA 555-01xx, ARCEP, ACMA); the others follow
the usual groups of the country with invented digits: from memory, no source. Card and account numbers are the
published test numbers of payment networks and of the ISO 13616 registry.
"""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest

from pipeline import Workshop
from pipeline.load.layout import FIELDS
from pipeline.load.personal_data import mask_contacts
from pipeline.load.personal_headers import is_personal
from tests.worlds.empty import empty_workshop

PHONES = """
07700 900123; 07700900123; 07700-900-123; +44 7700 900123; +447700900123; 0044 7700 900123; (07700) 900123
020 7946 0018; (020) 7946 0018; 0117 496 0123; 01632 960123; 01632-960-123; 029 2018 0123; +44 (0)1632 960123
087 123 4567; (01) 234 5678; +353 87 123 4567; 021-123-4567
212-555-0187; (212) 555-0187; (212)555-0187; 212.555.0187; 212 555 0187; 2125550187; +1 212 555 0187; 1-212-555-0187
+1 (416) 555-0199; 416 555-0199; 4165550199
030 12345678; 0171 2345678; 0171-2345678; 0171/2345678; +49 171 2345678; +49 (0)30 123456; 0049 30 123456; 089 123456
0664 1234567; +43 664 1234567; 079 123 45 67; +41 79 123 45 67; 044 123 45 67
01 99 00 12 34; 06 39 98 12 34; 06.39.98.12.34; 0639981234; +33 6 39 98 12 34; 06-39-98-12-34
612 34 56 78; 612 345 678; 612345678; 912 345 678; +34 612 34 56 78; 712-345-678; 934 12 34 56
333 1234567; 333 123 4567; 3331234567; 02 1234 5678; +39 333 1234567; 347-1234567
06-12345678; 06 12345678; 06 1234 5678; 020-1234567; +31 6 12345678; 0031 6 12345678
512 345 678; 512-345-678; +48 512 345 678; 22 123 45 67; 0048 512345678
98765 43210; 98765-43210; 9876543210; +91 98765 43210; 087654 32109
0491 570 156; (02) 5550 1234; 02 5550 1234; +61 491 570 156; 0491570156
0470 12 34 56; +32 470 12 34 56; 070-123 45 67; +46 70 123 45 67; mob 912345678
"""
AROUND = ("ring {} first", "{}", "cust on {}, not heating", "not draining. Tel {}.")
EMAILS = """
ann@example.com; ann.b+c@mail.example.co.uk; Ann@Example.Com; a_b-c@example-shop.org; ann(at)example.com
ann [at] example [dot] com; ann (at) example (dot) co (dot) uk; ann at example dot com; ANN AT EXAMPLE DOT COM
ann @ example.com; ann＠example.com; mailto:ann@example.com; <ann@example.com>; jürgen@beispiel.de; ann{at}example.com
ann<at>example.com; ann@sub.sub2.example.info; ann.example@firma.museum; ann(@)example.com; ann at example punkt de
"""
ACCOUNTS = """
4111 1111 1111 1111; 4111111111111111; 4111-1111-1111-1111; 5555 5555 5555 4444; 3782 822463 10005; 378282246310005
GB82 WEST 1234 5698 7654 32; GB82WEST12345698765432; DE89 3704 0044 0532 0130 00; DE89370400440532013000
FR14 2004 1010 0505 0001 3M02 606; ES91 2100 0418 4502 0005 1332; IT60 X054 2811 1010 0000 0123 456; NL91 ABNA 0417 1643 00
sort code 20-00-00; account no 12345678; a/c 12345678; acct: 12345678; Kontonummer 532013000
key safe 4821; keysafe code: 4821; lock box code is 4821; gate code 2580; alarm code #4821; door code C4821
dob 14/03/1961; D.O.B. 14.03.61; date of birth: 1961-03-14; born 14/03/1961; geb. 14.03.1961; Geburtsdatum 14.03.1961
number plate AB12 CDE; car reg AB12CDE; van reg: AB12 CDE; Kennzeichen B-AB 1234
"""
PLACES = """
12 Acacia Avenue; Flat 2, 14b Park Road; 30 Oak Way; 7 Mill Lane; 221 High Street; 5 Royal Crescent; 18 Elm Tree Close
Hauptstraße 5; Hauptstrasse 5a; Bahnhofstr. 12; Lindenweg 3; Marktplatz 1; Schillerallee 44; Uferdamm 9
12 rue de la Paix; 3 bis, rue Victor Hugo; 45 avenue des Tilleuls; 8 place du Marché; 2 chemin des Vignes
Calle Mayor 5; Calle de la Rosa, 12; Avda. Libertad 45; Plaza Nueva 3; C/ Sol 7; Paseo del Prado 22
Via Roma 12; Via dei Fiori, 3; Piazza Garibaldi 1; Corso Italia 88; Viale Europa 4
Kerkstraat 12; Lindelaan 4b; Marktplein 1; Prinsengracht 263; Dorpsdijk 9
SW1A 1AA; M1 1AE; EC1A1BB; K1A 0B6; PLZ 12345; D-10115; zip 90210; postcode 1234 AB
"""
NAMES = """
Mrs Smith; Mr J. O'Brien; Ms Example; Miss Jones; Dr Watson; Herr Müller; Frau von Berg; Herrn Schmidt; Mme Dupont
Mlle Durand; Monsieur Petit; Sra. García; Señora López; Sr. Pérez; Sig. Rossi; Sig.ra Bianchi; Signora Verdi
Dhr. Jansen; Mevr. de Vries; Mevrouw Bakker; Pan Kowalski; Pani Nowak; Prof Moriarty; Rev Green
"""


def listed(text: str) -> list[str]:
    return [item.strip() for item in re.split("[;\n]", text) if item.strip()]


PERSONAL = [
    *[AROUND[place % len(AROUND)].format(phone) for place, phone in enumerate(listed(PHONES))],
    *[text for block in (EMAILS, ACCOUNTS, PLACES, NAMES) for text in listed(block)],
]
HEADERS = listed("""
Customer; customer_name; CustName; Cust; Cust Tel; CustPhone; Client; client name; Contact; Contact1; Contact Name; Owner
owner_name; Tenant; TenantName; Landlord; Caller; Householder; Occupant; Surname; First Name; FirstName; fname; Last name
Full Name; Initials; Phone; Phone2; Phone No; phone_1; Telephone; Tel; Tel1; Tel.; TelNo; Mobile; Mob; Mob No; Cell; Fax
Landline; Email; Email1; E-Mail; e_mail; Mail; Address; Addr1; Address Line 2; addr; Street; Town; City; County; Postcode
post_code; Post Code; Zip; ZIP Code; DOB; Date of birth; Birthday; WhatsApp; Key safe no (KeySafe); Engineer phone
Kunde; Kundin; Kundenname; Kunden-Tel; Vorname; Nachname; Ansprechpartner; Mieter; Eigentümer; Anschrift; Adresse; Straße
Strasse; Hausnr.; PLZ; Ort; PLZ/Ort; Telefon; Telefonnummer; Tel.-Nr.; Handy; Handynr; Handynr.2; Mobilnr; Festnetz; Geb.
Nom; Prénom; Nom du client; Adresse e-mail; Rue; Ville; Code postal; Téléphone; Tél.; Portable; Courriel; Locataire
Cliente; Nombre; Apellidos; Dirección; Calle; Ciudad; Teléfono; Tfno; Móvil; Correo; Inquilino; Propietario; DNI
Nome; Cognome; Indirizzo; Città; CAP; Telefono; Cellulare; Proprietario; Klant; Klantnaam; Naam; Achternaam; Straat
Huisnummer; Woonplaats; Telefoon; Mobiel; Huurder; Eigenaar; Geboortedatum
""")
NOT_PERSONAL = listed("""
part_name; ModelName; Technician name; notes; Date; Visit date; Job No; job_no; Kind; Appliance; Make; Model; Serial no
Age; Complaint; Fault code; Findings; Cause; Work done; Parts; Parts fitted; Outcome; Technician; Engineer; Minutes
Labour; Parts cost; Callback of; Status; Price; Total; Qty; Warranty; Invoice no; Product; Brand; Category; Remarks
Arrival time; Mileage; Datum; Gerät; Marke; Typ; Fehler; Ursache; Ersatzteile; Bemerkung; Product name; File name; Priority
Maker; Brand name; Machine; Programme; Item; Load; Drum; Water left; Filter; Spin speed; Voltage; Room; Booked
""")
REPAIR = listed("""
K07 E18 pump blocked; 1200 1400 1600 rpm; element 23.5 ohms; 230V 50Hz 13A; part 00145223; p/n 4055164653; no 2125550187
serial 612345678; S/N 9876543210; drain pump x2 @ 34.50, door seal @ 48.00; type 481236058212; 2024-03-05 12:30
model WA1204 XS; readings 10 20 30 40 50 60 70; miss fires; code 123; alarm sounds 3 times; error code 4821 shown
left at 5; pump at full load dot on display; reg. serviced 2024; plate 3 and 4 dead; place 2 new seals; via 3 way valve
lamps 1+4; board type 4111 1111; 3 rue; ring 2; ohm 1000 2000 3000; born again pump; drum bearing 6205 6206 gone
key 5 stuck; door lock code E40; sr. motor; 100 200 300 400; pan support 4; pressure 1.2 bar; dr. motor hums
""")


def masked(text: str) -> str:
    return mask_contacts(pd.Series([text], dtype="str"))[0]


def test_the_corpora_are_as_large_as_they_say() -> None:
    assert len(set(PERSONAL)) >= 165
    assert len(set(HEADERS)) >= 90


@pytest.mark.parametrize("text", PERSONAL)
def test_it_is_masked(text: str) -> None:
    found = masked(text)
    assert "[" in found
    assert not re.search(r"\d[\d ./()-]{4,}\d|@", found), found


@pytest.mark.parametrize("text", REPAIR)
def test_what_the_repair_needs_stays(text: str) -> None:
    assert masked(text) == text


def test_in_cells_of_codes_digits_alone_stay() -> None:
    cells = pd.Series(
        ["4055164653 door seal", "2125550187", "07700 900123", "ann@example.com", "Mrs Smith"], dtype="str"
    )
    assert mask_contacts(cells, level="code").tolist() == [*cells[:2], "[phone]", "[email]", "[name]"]
    assert mask_contacts(cells, level="staff").tolist() == [*cells[:2], "[phone]", "[email]", "Mrs Smith"]


@pytest.mark.parametrize("header", HEADERS)
def test_the_header_announces_personal_data(header: str) -> None:
    assert is_personal(header)


@pytest.mark.parametrize("header", NOT_PERSONAL)
def test_the_header_announces_none(header: str) -> None:
    assert not is_personal(header)


JOBS = (
    "visit_date,appliance_kind,job_no,customer_ref,make,complaint,fault_code,parts,outcome,technician,callback_of\n"
    "2025-01-02,W/M,J1,Ann Example,Mrs Smith,leaks,call 07700 900123,pump for Ann Example,ann@example.com,Bo Quill,07700 900124\n"
    'Ann Example,2025-01-04,W/M,J4,"leaks,,,,,,,\n'
    "Ann Example,W/M,J5,2025-01-05,,leaks,,,,Bo Quill,\n"
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "jobs.csv").write_text(JOBS)
    return tmp_path


def texts_in(workshop: Workshop) -> str:
    connection = workshop.database.connection
    names = connection.execute("select table_name from duckdb_tables() where not temporary").fetchall()
    return "\n".join(str(connection.execute(f"from {name}").fetchall()) for (name,) in names)


def test_no_column_and_no_refused_line_keeps_a_person(folder: Path) -> None:
    with Workshop.open(empty_workshop(folder / "w.duckdb")) as workshop:
        report = workshop.load([folder / "jobs.csv"])
        held = texts_in(workshop)
    assert report.totals["rejected"] >= 2
    for person in ("Example", "Smith", "900123", "900124", "example.com"):
        assert person not in held, person
    assert "Bo Quill" in held


NOWHERE = ("call 07700 900123", "ann@example.com", "4111 1111 1111 1111", "GB82 WEST 1234 5698 7654 32")


def test_contact_details_in_any_column_are_nowhere_in_the_database(tmp_path: Path) -> None:
    usual = {"visit_date": "2025-01-02", "appliance_kind": "oven", "job_no": "J", "customer_ref": "Ann Example"}
    lines = [
        usual | {"job_no": f"J{place}-{number}", column: text}
        for place, column in enumerate(FIELDS)
        for number, text in enumerate(NOWHERE)
    ]
    pd.DataFrame(lines, columns=list(FIELDS)).to_csv(tmp_path / "jobs.csv", index=False)
    with Workshop.open(tmp_path / "w.duckdb") as workshop:
        totals = workshop.load([tmp_path / "jobs.csv"], accept_guess=True).totals
        held = texts_in(workshop).casefold()
    assert totals["rejected"] == len(NOWHERE)  # they have no day
    for text in ("900123", "example.com", "1111 1111", "west 1234", "ann example"):
        assert text not in held, text


def test_a_price_is_no_customer(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(
        "visit_date,appliance_kind,job_no,customer_ref,complaint,minutes,labour_charge,parts_cost\n"
        "2025-01-02,oven,J1,1200,cold,45,1200.00,1200\n"
        "2025-01-03,oven,J2,C-1200,C-1200 says cold,45 C-1200,60,\n"
    )
    with Workshop.open(tmp_path / "w.duckdb") as workshop:
        workshop.load([tmp_path / "jobs.csv"])
        query = "select minutes, labour_charge, parts_cost from raw_record order by job_no"
        assert workshop.database.connection.execute(query).fetchall() == [
            ("45", "1200.00", "1200"),
            ("45 [customer]", "60", None),
        ]


def test_technicians_to_be_hashed_after_a_load_are_hashed_in_what_is_held_by_the_next(folder: Path) -> None:
    with Workshop.open(empty_workshop(folder / "w.duckdb")) as workshop:
        workshop.load([folder / "jobs.csv"])
    (folder / "w.toml").write_text("hash_technicians = true\n")
    with Workshop.open(folder / "w.duckdb", read_only=True) as workshop:
        assert workshop.status()["technicians_to_hash"] == 1
        assert "Quill" in texts_in(workshop)  # a question changes nothing that cannot be brought back
    with Workshop.open(folder / "w.duckdb") as workshop:
        assert "1 technicians were held by name" in workshop.load([folder / "jobs.csv"]).notes[0]
        assert "Quill" not in texts_in(workshop)
        assert workshop.table("visit")["technician"].dropna().str.fullmatch("[0-9a-f]{32}").all()
        assert workshop.status()["technicians_to_hash"] == 0
    assert b"Quill" not in (folder / "w.duckdb").read_bytes()


def test_streets_are_masked_in_codes_and_parts_and_parts_named_like_streets_are_not() -> None:
    cells = pd.Series(
        [
            "key at 12 Alder Road",
            "an Birkenstraße 7",
            "2 x Dichtring 25",
            "1 belt drive",
            "3 way valve",
            "4 Pole Square plug",
        ]
    )
    assert mask_contacts(cells, level="code").tolist() == ["key at [address]", "an [address]", *cells[2:]]

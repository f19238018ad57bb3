"""Files made to do harm: every form that `load` reads, cut, flipped, swollen and filled with hostile text.

Each maker takes a random generator and a folder, writes one file there and returns its path.
"""

from __future__ import annotations

import datetime
import gzip
import io
import json
import random
import zipfile
from collections.abc import Callable
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import xlsxwriter

HEADER = (
    "visit_date", "appliance_kind", "job_no", "customer_ref", "make", "model", "serial", "age", "complaint", "fault_code",
    "findings", "cause", "work_done", "parts", "outcome", "technician", "minutes", "labour_charge", "parts_cost",
    "callback_of",
)  # fmt: skip
GOOD = (
    "2024-03-05", "washing machine", "J1", "C-1", "Ostrel", "WA1204", "BR100451", "3 yrs", "stops before spin", "K07",
    "water left=no", "level sensor fault", "tested", "level sensor x1 @ 26.00", "fixed", "Bea", "45", "60.00", "26.00", "",
)  # fmt: skip
HOSTILE = (
    "'; drop table visit; --", "\"; attach 'x.db'; --", "$$; copy visit to 'stolen.csv'; $$", "{{7*7}}${7*7}<%=7*7%>",
    "<script>document.title='owned'</script>", "<img src=x onerror=alert(1)>", "</script><svg onload=alert(1)>",
    "=1+1", "=HYPERLINK(\"http://example.com\",\"x\")", "@SUM(A1:A9)", "+cmd|' /C calc'!A0", "-2+3", "\t=1+1",
    "\x1b[2J\x1b[31mred\x1b]0;title\x07", "\x9b31m", "\u202egnp.exe", "\u200b\u200d\ufeff", "a\x00b", "\r\n\r\n", "\x85\u2028",
    "../../../etc/passwd", "/etc/passwd", "C:\\Windows\\win.ini", "file:///etc/passwd", "~/.ssh/id_rsa", "s3://bucket/key",
    "NULL", "nan", "inf", "-0", "1e309", "9" * 400, "0x41", "٣", "½", "ﬀ", "İ", "ß" * 50, "e\u0301" * 200, "🔧" * 40,
    "%s%n%x", "${HOME}", "`id`", "$(id)", "{0.__class__}", "__import__('os')", "\\", '"', "'", '""', ",", ";", "|",
    "a" * 5000, "(" * 300, "not " * 300, "? " * 300, "x1 @ " * 300, "[" * 200, "a.*(b+)+$" + "b" * 60, "31/02/2024", "00/00/0000",
    "12345678901234567890", "K07/" * 200, "water left=" * 100, "; " * 400, "+" * 300, "1" + "0" * 300, "07700 900123", " ",
)  # fmt: skip

Maker = Callable[[random.Random, Path], Path]


def cells(rng: random.Random) -> list[str]:
    """One line: a good one with some cells replaced by hostile ones, or its keys varied."""
    line = list(GOOD)
    line[0] = f"2024-{rng.randint(1, 12):02d}-{rng.randint(1, 28):02d}"
    line[2] = f"J{rng.randint(1, 500)}"
    for _ in range(rng.choice((0, 0, 1, 1, 2, 6))):
        line[rng.randrange(len(line))] = rng.choice(HOSTILE)
    return line


def table(rng: random.Random) -> list[list[str]]:
    """A header and some lines; the header is sometimes damaged."""
    header = list(HEADER)
    if rng.random() < 0.25:
        header[rng.randrange(len(header))] = rng.choice((*HOSTILE, "", header[0], "complaint"))
    if rng.random() < 0.1:
        rng.shuffle(header)
    if rng.random() < 0.1:
        header += [f"extra {n}" for n in range(rng.choice((1, 30, 370, 900)))]
    lines = [cells(rng) for _ in range(rng.choice((0, 1, 3, 12, 40)))]
    if rng.random() < 0.2:
        lines = [line[: rng.randint(0, len(line))] if rng.random() < 0.3 else line for line in lines]
    if rng.random() < 0.1:
        lines = [line + ["x"] * rng.randint(0, 4) for line in lines]
    return [header, *lines]


def bend(rng: random.Random, content: bytes) -> bytes:
    """Flip, cut, repeat or insert bytes."""
    raw = bytearray(content)
    for _ in range(rng.choice((0, 1, 1, 2, 5, 40))):
        at = rng.randrange(len(raw) + 1)
        what = rng.randrange(6)
        if what == 0 and raw:
            raw[at % len(raw)] = rng.randrange(256)
        elif what == 1:
            del raw[at : at + rng.choice((1, 3, 100))]
        elif what == 2:
            raw[at:at] = raw[at : at + rng.choice((1, 50, 500))]
        elif what == 3:
            raw[at:at] = rng.choice(
                (b"\x00", b"\xff\xfe", b'"', b"'", b"\r", b"\n", b"\xef\xbb\xbf", b"\x1a", b"\\", b",", b"\xe2\x80")
            )
        elif what == 4:
            del raw[at:]
        else:
            raw[at:at] = rng.choice(HOSTILE).encode("utf-8", "replace")
    return bytes(raw)


def written(folder: Path, name: str, content: bytes) -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


def csv_text(rng: random.Random) -> str:
    delimiter = rng.choice(",,,;\t|~")
    end = rng.choice(("\n", "\n", "\r\n", "\r"))
    always = rng.random() < 0.3

    def cell(text: str) -> str:
        if rng.random() < 0.02:
            return text
        needs = always or any(mark in text for mark in (delimiter, '"', "\n", "\r"))
        return '"' + text.replace('"', '""') + '"' if needs else text

    return end.join(delimiter.join(map(cell, line)) for line in table(rng)) + rng.choice(("", end))


def make_csv(rng: random.Random, folder: Path) -> Path:
    encoding = rng.choice(("utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252", "utf-32"))
    content = csv_text(rng).encode(encoding, "replace")
    return written(folder, "jobs.csv", bend(rng, content) if rng.random() < 0.6 else content)


def make_noise(rng: random.Random, folder: Path) -> Path:
    start = rng.choice(
        (
            b"",
            b"PAR1",
            b"PK\x03\x04",
            b"\x1f\x8b\x08",
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
            b"[",
            b'{"a"',
            b"\xff\xfe",
            b"%PDF-1.7",
        )
    )
    return written(
        folder,
        rng.choice(("jobs.csv", "jobs.xlsx", "jobs.parquet", "jobs.json")),
        start + rng.randbytes(rng.choice((0, 1, 20, 3000))),
    )


def make_json(rng: random.Random, folder: Path) -> Path:
    header, *lines = table(rng)
    objects: list[object] = []
    for line in lines:
        one: dict[str, object] = dict(zip(header, line, strict=False))
        for _ in range(rng.choice((0, 0, 1, 3))):
            one[rng.choice([*header, *HOSTILE])] = rng.choice(
                (None, True, 1.5, -1, 10**30, ["a", "b"], {"x": {"y": [1]}}, [], {}, "\ud800", float("inf"), [[[]]])
            )
        objects.append(rng.choice((one, one, one, one, [1], "text", 7, None)))
    if rng.random() < 0.2:
        text = json.dumps(objects)
    else:
        text = "\n".join(json.dumps(one, ensure_ascii=rng.random() < 0.5) for one in objects)
    if rng.random() < 0.1:
        text += "\n" + '{"complaint":' * 3000 + "1" + "}" * 3000
    content = text.encode("utf-8", "replace")
    return written(folder, "jobs.jsonl", bend(rng, content) if rng.random() < 0.5 else content)


def make_parquet(rng: random.Random, folder: Path) -> Path:
    header, *lines = table(rng)
    width = len(header)
    columns: dict[str, pa.Array] = {}
    for at, name in enumerate(header):
        values = [line[at] if at < len(line) else None for line in lines]
        columns[f"{name}{'' if name not in columns else at}"] = pa.array(
            [v if v is None else v.encode("utf-8", "replace").decode() for v in values], pa.string()
        )
    odd = {
        "list": pa.array([[1, None]] * len(lines), pa.list_(pa.int64())),
        "struct": pa.array([{"a": "=1+1"}] * len(lines), pa.struct([("a", pa.string())])),
        "bytes": pa.array([b"\xff\x00"] * len(lines), pa.binary()),
        "day": pa.array([datetime.date(1, 1, 1)] * len(lines), pa.date32()),
        "moment": pa.array([2**62] * len(lines), pa.int64()).cast(pa.timestamp("ns")),
        "far": pa.array([2**52] * len(lines), pa.int64()).cast(pa.timestamp("s"), safe=False),
        "span": pa.array([2**62] * len(lines), pa.duration("us")),
        "map": pa.array([[("k", 1)]] * len(lines), pa.map_(pa.string(), pa.int64())),
        "null": pa.nulls(len(lines)),
        "word": pa.array(["=1"] * len(lines)).dictionary_encode(),
        "number": pa.array([float("nan")] * len(lines)),
    }
    for name in rng.sample(list(odd), rng.choice((0, 1, 3))):
        columns[rng.choice((name, header[rng.randrange(width)]))] = odd[name]
    sink = io.BytesIO()
    pq.write_table(pa.table(columns), sink, compression=rng.choice(("snappy", "gzip", "zstd", "none")))
    content = sink.getvalue()
    return written(folder, "jobs.parquet", bend(rng, content) if rng.random() < 0.6 else content)


def xlsx_bytes(rng: random.Random) -> bytes:
    sink = io.BytesIO()
    with xlsxwriter.Workbook(sink, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}) as book:
        for number in range(rng.choice((1, 1, 2, 5))):
            sheet = book.add_worksheet(rng.choice(("Jobs", "jobs; drop", "<b>", "..", "Ü")) + str(number))
            top = rng.choice((0, 0, 0, 3, 20))
            if top:
                sheet.merge_range(0, 0, 0, 5, "Export of all jobs")
            for row, line in enumerate(table(rng), start=top):
                for column, text in enumerate(line):
                    if rng.random() < 0.02:
                        sheet.write_formula(
                            row,
                            column,
                            rng.choice(("=1+1", "='[1]S'!A1", "=1/0", '=WEBSERVICE("http://example.com")')),
                            None,
                            rng.choice((2, "#DIV/0!", "=x")),
                        )
                    elif rng.random() < 0.05:
                        sheet.write_datetime(
                            row, column, datetime.datetime(2024, 3, 5), book.add_format({"num_format": "dd/mm/yy"})
                        )
                    else:
                        sheet.write_string(row, column, text)
            if rng.random() < 0.1:
                sheet.hide() if number else None
    return sink.getvalue()


XML_START = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>'
ENTITIES = (
    '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">'
    '<!ENTITY d "&c;&c;&c;&c;&c;&c;&c;&c;&c;&c;"><!ENTITY e "&d;&d;&d;&d;&d;&d;&d;&d;&d;&d;"><!ENTITY f "&e;&e;&e;&e;&e;&e;&e;&e;">]>'
)
OUTSIDE = '<!DOCTYPE x [<!ENTITY f SYSTEM "file:///etc/hostname">]>'
LINK = (
    XML_START + '<externalLink xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><externalBook '
    'xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships" r:id="rId1"/></externalLink>'
)
LINK_TARGET = (
    XML_START
    + '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" '
    'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/externalLinkPath" '
    'Target="file:///etc/passwd" TargetMode="External"/></Relationships>'
)


def repacked(content: bytes, change: Callable[[str, bytes], bytes], extra: dict[str, bytes] | None = None) -> bytes:
    """Write a zip anew with each member changed."""
    sink = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.infolist():
            new.writestr(member.filename, change(member.filename, old.read(member)))
        for name, body in (extra or {}).items():
            new.writestr(name, body)
    return sink.getvalue()


def make_xlsx(rng: random.Random, folder: Path) -> Path:
    content = xlsx_bytes(rng)
    what = rng.randrange(6)
    if what == 0:
        content = bend(rng, content)
    elif what == 1:
        content = repacked(content, lambda name, body: bend(rng, body) if rng.random() < 0.3 else body)
    elif what == 2:
        doctype = rng.choice((ENTITIES, OUTSIDE)).encode()
        content = repacked(
            content,
            lambda name, body: (
                body.replace(b"?>", b"?>" + doctype, 1).replace(b"<t>", b"<t>&f;", 3)
                if name.endswith(("sharedStrings.xml", "sheet1.xml"))
                else body
            ),
        )
    elif what == 3:
        extra = {
            "xl/externalLinks/externalLink1.xml": LINK,
            "xl/externalLinks/_rels/externalLink1.xml.rels": LINK_TARGET,
        }
        content = repacked(content, lambda _, body: body, {name: text.encode() for name, text in extra.items()})
    elif what == 4:
        content = repacked(
            content, lambda _, body: body, {"../../evil.csv": b"visit_date,appliance_kind\n2024-01-01,oven\n"}
        )
    return written(folder, "jobs.xlsx", content)


MEMBERS = (
    "jobs.csv",
    "../../jobs.csv",
    "/etc/jobs.csv",
    "C:\\jobs.csv",
    "a/b.csv",
    "\x1b[2J.csv",
    "notes.md",
    "jobs.zip",
)


def make_archive(rng: random.Random, folder: Path) -> Path:
    if rng.random() < 0.3:
        content = gzip.compress(csv_text(rng).encode("utf-8", "replace"))
        return written(folder, "jobs.csv.gz", bend(rng, content) if rng.random() < 0.5 else content)
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in rng.sample(MEMBERS, rng.choice((0, 1, 1, 3))):
            archive.writestr(name, rng.randbytes(100) if "zip" in name else csv_text(rng).encode("utf-8", "replace"))
    content = sink.getvalue()
    return written(folder, "jobs.zip", bend(rng, content) if rng.random() < 0.5 else content)


def spreadsheet_of(sheet_xml: str) -> bytes:
    """An XLSX of one sheet whose XML is given."""
    return repacked(
        xlsx_bytes(random.Random(0)),
        lambda name, body: (XML_START + sheet_xml).encode() if name.endswith("sheet1.xml") else body,
    )


SHEET_START = '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'


def far_cells() -> bytes:
    """Two cells at the far ends of a sheet: a reader that fills what lies between needs hundreds of gigabytes."""
    return spreadsheet_of(
        f'{SHEET_START}<sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>visit_date</t></is></c>'
        '</row><row r="1048576"><c r="XFD1048576" t="inlineStr"><is><t>x</t></is></c></row></sheetData></worksheet>'
    )


def claimed_dimension() -> bytes:
    """A sheet of one cell that says it reaches to the far end."""
    return spreadsheet_of(
        f'{SHEET_START}<dimension ref="A1:XFD1048576"/><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>visit_date</t>'
        "</is></c></row></sheetData></worksheet>"
    )


def swollen_sheet(megabytes: int) -> bytes:
    """A sheet that packs a thousandfold: a bomb."""
    row = '<row><c t="inlineStr"><is><t>' + "a" * 1000 + "</t></is></c></row>"
    return spreadsheet_of(f"{SHEET_START}<sheetData>{row * (megabytes * 1000)}</sheetData></worksheet>")


ODS_LIST = (
    XML_START + '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
    '<manifest:file-entry manifest:full-path="/" manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/>'
    '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>'
)


def repeated_ods() -> bytes:
    """An ODS whose few cells say that they are repeated a billion times."""
    names = {"office": "office", "table": "table", "text": "text"}
    spaces = " ".join(
        f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{value}:1.0"' for name, value in names.items()
    )
    body = (
        f'{XML_START}<office:document-content {spaces} office:version="1.2"><office:body><office:spreadsheet>'
        '<table:table table:name="Jobs"><table:table-row table:number-rows-repeated="1000000000">'
        '<table:table-cell table:number-columns-repeated="1000000000" office:value-type="string"><text:p>visit_date</text:p>'
        "</table:table-cell></table:table-row></table:table></office:spreadsheet></office:body></office:document-content>"
    )
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet", zipfile.ZIP_STORED)
        archive.writestr("content.xml", body)
        archive.writestr("META-INF/manifest.xml", ODS_LIST)
    return sink.getvalue()


ODD_VALUES = (
    "1", "-1", "0", "10000000000", "1.5", "true", "[]", "{}", "[[]]", '""', "2024-01-01", "nan", '["a", 1]', "{ a = {} }",
)  # fmt: skip
ODD_WORDS = (*HOSTILE, "utf-16", "zip", "rot13", "idna", "undefined", ",", ";;", "%d", "day first")
LAYOUT_KEYS = (
    "grain", "date_format", "decimal_mark", "currency", "encoding", "delimiter", "quote", "sheet", "header_line", "name2",
)  # fmt: skip
LAYOUT_SECTIONS = ("constants", "values.outcome", "values", "personal", "nothing")


def make_layout(rng: random.Random, folder: Path) -> Path:
    """A layout full of odd values; `jobs.csv` of the same stem lies beside it."""
    written(folder, "jobs.csv", csv_text(rng).encode("utf-8", "replace"))

    def value() -> str:
        return rng.choice((rng.choice(ODD_VALUES), json.dumps(rng.choice(ODD_WORDS))))

    lines = ['name = "x"', *(f"{key} = {value()}" for key in LAYOUT_KEYS if rng.random() < 0.06), "[columns]"]
    lines += [f"{name} = " + (value() if rng.random() < 0.01 else json.dumps(name)) for name in HEADER]
    for section in LAYOUT_SECTIONS:
        if rng.random() < 0.1:
            lines += [
                f"[{section}]",
                f"{rng.choice(HEADER)} = {value()}",
                f"{json.dumps(rng.choice(HOSTILE))} = {value()}",
            ]
    content = "\n".join(lines).encode("utf-8", "replace")
    return written(folder, "own.toml", bend(rng, content) if rng.random() < 0.2 else content)


LOADABLE: dict[str, Maker] = {
    "csv": make_csv,
    "noise": make_noise,
    "json": make_json,
    "parquet": make_parquet,
    "xlsx": make_xlsx,
    "archive": make_archive,
    "layout": make_layout,
}

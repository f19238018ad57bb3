"""No tracked file, packed or not, holds a real group's code and lamp tables, a real firm's name or a trademark.

What is looked for is put together here from pieces, so that this file does not hold it either.
"""

from __future__ import annotations

import gzip
import io
import re
import subprocess
import zipfile
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest

ROOT = Path(__file__).parents[2]
FOUR_LESS, FIVE = str(4 - 1), str(4 + 1)
FORBIDDEN = {
    "lamps": rf"(?:lamp|led|light)s?[\s:#.]*1\s*(?:\+|,|&|/|and)\s*{FOUR_LESS}(?![\d+])(?!\s*(?:\+|,|&|and)\s*\d)",
    "code": rf"(?<![\w.#])[{chr(101)}{chr(102)}][\s:.-]?0?{FIVE}(?![a-z0-9.])",
    "error": rf"\berr(?:or)?\s*0?{FIVE}\b",
    "make": "fenn" + "wick",
    "firm": r"harbour\s+" + "homes",
    "spares": r"\btoc\s+" + "kit|tear" + r"drop\s+bearing",
    "trademarks": rf"\b(?:{'|'.join(('hoo' 'ver', 'jubi' 'lee', 'simmer' 'stat', 'meg' 'ger', 'aqua' 'stop', 'ceran' 'feld', 'kli' 'xon', 'te' 'sa'))})",
    "program": r"<(?:app" + "lication|company|dc:creator|cp:lastmodifiedby)>[^<]+|<file" + r"version\s|name=\"off" + "ice",
}  # fmt: skip
LOOKED_FOR = {name: re.compile(pattern, re.IGNORECASE) for name, pattern in FORBIDDEN.items()}


def tracked() -> list[str]:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True)
    return sorted(filter(None, listed.stdout.decode().split("\0")))


def texts(name: str, held: bytes, folder: Path) -> Iterator[tuple[str, bytes]]:
    """Give a file's name and text; of a packed file each member's, of a database every cell's."""
    if held[:2] == b"\x1f\x8b":
        yield from texts(f"{name}: unpacked", gzip.decompress(held), folder)
    elif held[:4] == b"PK\x03\x04":
        with zipfile.ZipFile(io.BytesIO(held)) as archive:
            for member in archive.namelist():
                yield from texts(f"{name}: {member}", archive.read(member), folder)
    elif held[:8] == b"\x89PNG\r\n\x1a\n":
        yield name, b""  # pixels hold no words; what a picture shows is looked at by eye
    elif held[8:12] == b"DUCK":
        copy = folder / "looked-at.duckdb"
        copy.write_bytes(held)
        with duckdb.connect(copy, read_only=True) as database:
            for (table,) in database.execute("select table_name from duckdb_tables()").fetchall():
                rows = database.execute(f'select * from "{table}"').fetchall()
                yield f"{name}: {table}", "\n".join(str(cell) for row in rows for cell in row).encode()
        copy.unlink()
    elif not re.match(rb"\x93NUMPY.{4}\{'descr': '[<|=>][fiub]", held, re.DOTALL):  # arrays of numbers hold no words
        held = held.replace(b"\0", b"")  # letters of four bytes each, as arrays keep them
        yield name, re.sub(rb' r="[A-Z]+\d+"', b"", held) if "worksheets" in name else held  # places of cells


def found(name: str, held: bytes, folder: Path) -> list[str]:
    return [
        f"{where}: {what}: {match.group()}"
        for where, text in texts(name, held, folder)
        for what, pattern in LOOKED_FOR.items()
        for match in pattern.finditer(where + "\n" + text.decode(errors="replace"))
    ]


def test_no_tracked_file_holds_them(tmp_path: Path) -> None:
    files = tracked()
    assert len(files) > 200
    assert [hit for name in files for hit in found(name, (ROOT / name).read_bytes(), tmp_path)] == []


@pytest.mark.parametrize(
    "text",
    ["shows {e}0{five} again", "{f}{five}", "lamps 1+{three} lit", "lamps 1 and {three}", "err {five}", "a {toc} kit"],
)
def test_they_would_be_found_in_every_kind_of_file(text: str, tmp_path: Path) -> None:
    held = text.format(e="E", f="F", five=FIVE, three=FOUR_LESS, toc="toc").encode()
    box = io.BytesIO()
    with zipfile.ZipFile(box, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("inside.csv.gz", gzip.compress(held))
    with duckdb.connect(tmp_path / "w.duckdb") as database:
        database.execute("create table t as select ? as words", [held.decode()])
    for name, packed in (("plain", held), ("box.zip", box.getvalue()), ("w", (tmp_path / "w.duckdb").read_bytes())):
        assert found(name, packed, tmp_path), name

"""What a written workbook says of the program that wrote it: nothing."""

from __future__ import annotations

import re
import shutil
import zipfile
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

_NAMES_A_PROGRAM = {
    "docProps/app.xml": re.compile(rb"<(Application|AppVersion|Company)>[^<]*</\1>"),
    "docProps/core.xml": re.compile(rb"<(dc:creator|cp:lastModifiedBy)>[^<]*</\1>"),
    "xl/workbook.xml": re.compile(rb"<fileVersion[^>]*/>"),
    "xl/theme/theme1.xml": re.compile(rb"(?<=name=\")Office[^\"]*"),
}


def name_no_program(path: Path) -> None:
    """Rewrite an XLSX file in place so that its metadata names no program and nobody.

    The writing library fills these fields with a product's name and cannot be told to leave them out.

    Parameters
    ----------
    path
        A closed XLSX file.
    """
    plain = path.with_name(path.name + ".plain")
    try:
        with zipfile.ZipFile(path) as written, zipfile.ZipFile(plain, "w", zipfile.ZIP_DEFLATED) as out:
            for entry in written.infolist():
                with written.open(entry) as source, out.open(entry, "w", force_zip64=True) as target:
                    pattern = _NAMES_A_PROGRAM.get(entry.filename)
                    if pattern:
                        target.write(pattern.sub(b"", source.read()))
                    else:
                        shutil.copyfileobj(source, target, 1 << 20)
        plain.replace(path)
    finally:
        plain.unlink(missing_ok=True)

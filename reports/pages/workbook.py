"""The report's numbers as a workbook with a sheet a section: text is text and can never be a formula."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pandas as pd

from reports.pages.advice_rows import advice_rows
from reports.pages.headline import figures
from reports.pages.month_figures import MonthFigures
from reports.pages.month_tables import quality_rows
from reports.render.plain_text import plain
from reports.render.sheet_metadata import name_no_program
from reports.render.wording import Wording

SHEETS = {
    "fix": "fix_by_month",
    "callbacks": "callback_curve",
    "swaps": "wrong_swaps",
    "causes": "causes",
    "ages": "ages",
    "makes": "makes",
    "technicians": "technicians",
    "branches": "branches",
    "parts": "parts",
    "next_fault": "next_fault",
    "kinds": "kinds",
}
LONGEST_CELL = 500
LONGEST_NAME = 31


def write_workbook(path: Path, made: MonthFigures, wording: Wording) -> None:
    """Write the workbook.

    Parameters
    ----------
    path
        The XLSX file to write.
    made
        The figures of the report.
    wording
        Language of sheet names and of the first sheet.
    """
    import xlsxwriter

    options = {
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": False,
    }
    with xlsxwriter.Workbook(str(path), options) as workbook:
        bold = workbook.add_format({"bold": True, "text_wrap": True, "valign": "top"})
        day = workbook.add_format({"num_format": "yyyy-mm-dd"})
        shown = figures(made.now, made.before, made.changes, made.period, wording, made.window_days)
        first = pd.DataFrame(
            {
                wording.say("columns.figure"): [figure.label for figure in shown],
                made.period.name(wording): [made.now[figure.measure]["value"] for figure in shown],
                wording.say("columns.lower_end"): [made.now[figure.measure]["low"] for figure in shown],
                wording.say("columns.upper_end"): [made.now[figure.measure]["high"] for figure in shown],
                made.period.before_name(wording): [made.before[figure.measure]["value"] for figure in shown],
                wording.say("columns.basis"): [figure.basis for figure in shown],
                wording.say("columns.state"): [
                    wording.say("page.provisional") if figure.is_provisional else "" for figure in shown
                ],
            }
        )
        _sheet(workbook, wording.say("sheets.month"), first, bold, day)
        advice = made.frames["advice"].drop(columns=["jobs"], errors="ignore")
        if "job_nos" in advice:
            advice = advice.assign(job_nos=[", ".join(map(str, jobs)) for jobs in advice["job_nos"]])
        said = [row["do"] for row in advice_rows(made.frames["advice"], wording)]
        _sheet(workbook, wording.say("sections.worth"), advice.assign(said=said), bold, day)
        for name, frame in SHEETS.items():
            title = wording.say(f"sheets.{name}")
            _sheet(workbook, title, made.frames[frame].drop(columns=["jobs"], errors="ignore"), bold, day)
        quality = made.frames["quality"].assign(
            name=[row["words"] for row in quality_rows(made.frames["quality"], wording)]
        )
        _sheet(workbook, wording.say("sections.quality"), quality, bold, day)
    name_no_program(path)


def _sheet(workbook: Any, name: str, frame: pd.DataFrame, bold: Any, day: Any) -> None:
    sheet = workbook.add_worksheet(name[:LONGEST_NAME])
    sheet.freeze_panes(1, 0)
    sheet.set_column(0, max(len(frame.columns) - 1, 0), 18)
    for column, heading in enumerate(frame.columns):
        sheet.write_string(0, column, plain(heading), bold)
        for row, value in enumerate(frame[heading], start=1):
            if (
                value is None
                or value is pd.NA
                or value is pd.NaT
                or (isinstance(value, float) and not math.isfinite(value))
            ):
                continue
            if isinstance(value, pd.Timestamp):
                sheet.write_datetime(row, column, value.to_pydatetime(), day)
            elif isinstance(value, bool) or str(type(value).__name__) == "bool":
                sheet.write_boolean(row, column, bool(value))
            elif isinstance(value, int | float) or hasattr(value, "dtype"):
                sheet.write_number(row, column, float(value))
            else:
                sheet.write_string(row, column, plain(value, LONGEST_CELL))

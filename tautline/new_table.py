"""``tautline new --table``: a bend schedule to fill in, with example rows that read as they stand."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import openpyxl
from openpyxl.styles import Font

from tautline.errors import UsageError

_HEADINGS = (
    "kind", "tag", "length [ft]", "angle [deg]", "radius [ft]", "direction", "offset [ft]", "elevation [ft]", "size",
    "type", "note",
)  # fmt: skip
_COMMENTS = (
    "A bend schedule: one row for each piece of the route, in order, from the first vault to the last.",
    "Rows that begin with # are comments. Replace the example rows below by your own; columns may be left out or moved.",
    "Units stand in the headings; change [ft] to [m] for metres. A cell may hold its own unit instead, under a heading",
    "that names none: 120 ft. A number without any unit is refused.",
    "kind: vault, straight, bend, rise, drop, offset, end.",
    "  vault: tag. If the cable turns inside it: angle, and direction left or right. Elevation of the duct, if known.",
    "  straight: length along the duct.",
    "  bend: angle, radius to the middle of the duct, direction left, right, up or down.",
    "  rise, drop: offset is how far up or down the duct comes; made by two bends of that radius and angle, or, with",
    "    length in place of angle, over that length. offset: the same to the left or right.",
    "  end: below the last vault, so that a table cut short is noticed; length there is checked against the sum.",
    "size and type of the duct hold from the row they stand in until another row says otherwise.",
)
_ROWS = (
    ("vault", "MH-1", "", "", "", "", "", "", "5", "PVC 40", "example: replace all rows from here"),
    ("straight", "", "120", "", "", "", "", "", "", "", ""),
    ("bend", "", "", "45", "12.5", "left", "", "", "", "", "factory sweep"),
    ("straight", "", "210", "", "", "", "", "", "", "", ""),
    ("rise", "", "", "22.5", "12.5", "", "3", "", "", "", "over the storm drain"),
    ("straight", "", "85", "", "", "", "", "", "", "", ""),
    ("vault", "MH-2", "", "", "", "", "", "", "", "", ""),
    ("straight", "", "160", "", "", "", "", "", "", "", ""),
    ("offset", "", "", "15", "25", "right", "4", "", "", "", "past the pole"),
    ("straight", "", "95", "", "", "", "", "", "", "", ""),
    ("vault", "MH-3", "", "", "", "", "", "", "", "", ""),
    ("end", "", "", "", "", "", "", "", "", "", ""),
)


def table_template(path: Path) -> bytes:
    """Return a bend schedule to fill in.

    Parameters
    ----------
    path : Path
        Its ending says the format.

    Returns
    -------
    bytes
        Of a CSV file or a workbook.

    Raises
    ------
    UsageError
        Another ending.
    """
    if path.suffix.lower() == ".csv":
        return _csv()
    if path.suffix.lower() == ".xlsx":
        return _workbook()
    raise UsageError(f"--table writes .csv or .xlsx, not {path.suffix or 'a file without an ending'!r}")


def _csv() -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerows([f"# {line}"] for line in _COMMENTS)
    writer.writerow(_HEADINGS)
    writer.writerows(_ROWS)
    return out.getvalue().encode("utf-8")


def _workbook() -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    if sheet is None:
        raise RuntimeError("a new workbook has no sheet")
    sheet.title = "bend schedule"
    for line in _COMMENTS:
        sheet.append([f"# {line}"])
        sheet.cell(sheet.max_row, 1).font = Font(italic=True, color="606060")
    sheet.append(_HEADINGS)
    head = sheet.max_row
    for cell in sheet[head]:
        cell.font = Font(bold=True)
    for row in _ROWS:
        sheet.append([_value(text) for text in row])
    sheet.freeze_panes = sheet.cell(head + 1, 1)
    for column in "ABCDEFGHI":
        sheet.column_dimensions[column].width = 14
    sheet.column_dimensions["K"].width = 36
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _value(text: str) -> str | float | None:
    """Return a number as a number, so that a spreadsheet does not mark it as text."""
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        return text

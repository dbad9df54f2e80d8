"""The tables of a result as one workbook: a sheet each, headings frozen, rows as high as their text."""

from __future__ import annotations

import io
import math
import re
import zipfile
from pathlib import Path
from typing import Any

from tautline.deliver.atomic import replacing
from tautline.deliver.frame import Document
from tautline.deliver.present import Units, columns, plain
from tautline.deliver.tables import Cell, Column, Table, tables_of

_FACE = "Calibri"
_LINE = 15.0
"""Height of a line of that face at 11 points. [pt]"""
_SHEET = 200.0
"""Characters across a page that can still be read."""
_MOST = 400.0
"""Height of a row that a spreadsheet still takes. [pt]"""


def write(document: Document, path: Path) -> None:
    """Write the tables as one workbook, a sheet each.

    Parameters
    ----------
    document : mapping
        A result document, valid against the schema.
    path : Path
        The file, replaced whole.

    Raises
    ------
    OutputError
        The file could not be written.
    """
    from openpyxl import Workbook

    units = Units.of(document)
    book = Workbook()
    book.remove(book.active)
    book.properties.creator = "tautline"
    book.properties.title = plain(document["job"]["name"])
    for table in tables_of(document):
        _sheet(book.create_sheet(table.name), table, units)
    content = (
        io.BytesIO()
    )  # an archive half written to a full disk would fail once more when it is thrown away
    book.save(content)
    with replacing(path) as draft:
        draft.write_bytes(_timeless(content))


def _timeless(content: io.BytesIO) -> bytes:
    """The same workbook without the time of day: the same result always gives the same file."""
    out = io.BytesIO()
    with zipfile.ZipFile(content) as made, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in made.namelist():
            data = made.read(name)
            if name == "docProps/core.xml":
                data = re.sub(rb"(:W3CDTF\">)[^<]*", rb"\g<1>2000-01-01T00:00:00Z", data)
            archive.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), data, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _sheet(sheet: Any, table: Table, units: Units) -> None:
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.utils import get_column_letter

    head, wrapped = PatternFill("solid", fgColor="E8EDF2"), Alignment(wrap_text=True, vertical="top")
    bold, top = Font(name=_FACE, size=11, bold=True), Alignment(vertical="top")
    headings = table.headings(units)
    for k, (heading, column) in enumerate(zip(headings, table.columns, strict=True), 1):
        cell = sheet.cell(1, k, heading)
        cell.font, cell.fill = bold, head
        cell.alignment = wrapped
        sheet.column_dimensions[get_column_letter(k)].width = column.wide
    # bold letters are wider
    _fit(sheet, 1, max(_lines(h, 0.85 * c.wide) for h, c in zip(headings, table.columns, strict=True)))
    for r, row in enumerate(table.values(units), 2):
        deepest = 1
        for k, (value, column) in enumerate(zip(row, table.columns, strict=True), 1):
            if value is None or value == "":
                continue
            cell = sheet.cell(r, k)
            cell.value = value
            cell.alignment = top
            if isinstance(value, str):
                cell.data_type = "s"  # never a formula, whatever it begins with
                if value[0] in "=+-@":
                    cell.quotePrefix = True
                lines = _lines(value, column.wide)
                if lines > 1:
                    cell.alignment = wrapped
                    deepest = max(deepest, lines)
            else:
                cell.number_format = _format(value, column, units)
        _fit(sheet, r, deepest)
    sheet.freeze_panes = "A2"
    last = get_column_letter(len(table.columns))
    sheet.auto_filter.ref = f"A1:{last}{max(len(table.rows) + 1, 2)}"
    # on paper, a wide table goes over pages side by side, its first column on each
    across = max(1, round(sum(column.wide for column in table.columns) / _SHEET))
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = across, 0
    if across > 1:
        sheet.print_title_cols = "A:A"
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_title_rows = "1:1"


def _lines(text: str, wide: float) -> int:
    """About how many lines a text takes in a column; running text is narrower than as many figures."""
    return max(1, math.ceil((0.95 if " " in text else 1.0) * columns(text) / wide))


def _fit(sheet: Any, row: int, lines: int) -> None:
    """Make a row as high as its text: not every program does so itself when it opens a workbook."""
    if lines > 1:
        sheet.row_dimensions[row].height = min(lines * _LINE, _MOST)


def _format(value: Cell, column: Column, units: Units) -> str:
    """How a number is shown, a blank of a letter's width after it; the cell keeps all of it."""
    decimals = column.decimals
    if column.kind == "percent":
        decimals = 1
    elif column.kind:
        decimals = units.unit(column.kind).decimals
    elif isinstance(value, int):
        decimals = 0
    elif decimals is None and isinstance(value, float):
        decimals = 4 if value == 0 else min(max(3 - math.floor(math.log10(abs(value))), 0), 6)
    grouped = "0" if column.decimals is not None else "#,##0"
    return grouped + ("." + "0" * decimals if decimals else "") + "_ "

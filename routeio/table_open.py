"""Opening tables: a CSV file or a sheet of a workbook as rows of text, nothing in it computed or guessed."""

from __future__ import annotations

import csv
import datetime
import io
import warnings
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from xml.etree.ElementTree import ParseError

import openpyxl
from lxml.etree import LxmlError
from openpyxl.utils.exceptions import InvalidFileException

from routeio.findings import InputRefusedError, Where
from routeio.gis_fields import as_text

#: No bend schedule is longer, nor unpacks to more. [rows, bytes]
MOST_ROWS, _LARGEST = 100_000, 300_000_000
#: What the library raises on damaged workbooks.
_DAMAGE = (
    zipfile.BadZipFile, zlib.error, InvalidFileException, ParseError, LxmlError, KeyError, ValueError, TypeError,
    IndexError, AttributeError, EOFError, OSError, NotImplementedError, RuntimeError, OverflowError,
)  # fmt: skip


@dataclass(frozen=True)
class Sheet:
    """A table as text.

    Parameters
    ----------
    name : str
        Of the sheet; of a CSV file, the file's without its ending.
    rows : tuple of tuple of str
        Row by row from the first.
    faults : mapping of (int, int) to str
        By row and column from 0: what is wrong with a cell whatever it should hold.
    merged : tuple of (int, int, str)
        First and last row from 0 of merged cells, and their name.
    texts : frozenset of (int, int)
        Cells of a workbook that hold text, by row and column, numbers written as text among them.
    decimal_comma : bool
        Whether a comma stands before decimals: where semicolons or tabs part the columns.
    """

    name: str
    rows: tuple[tuple[str, ...], ...]
    faults: dict[tuple[int, int], str] = field(default_factory=dict)
    merged: tuple[tuple[int, int, str], ...] = ()
    texts: frozenset[tuple[int, int]] = frozenset()
    decimal_comma: bool = False


def sheets(path: Path, encoding: str | None = None) -> tuple[Sheet, ...]:
    """Return the tables of a file.

    Parameters
    ----------
    path : Path
        CSV, TSV or XLSX.
    encoding : str, optional
        Of text; default UTF-8.

    Returns
    -------
    tuple of Sheet
        One, or those of the workbook.

    Raises
    ------
    InputRefusedError
        ``table-damaged``, ``unknown-encoding``.
    """
    if path.suffix.lower() == ".xlsx":
        return _workbook(path)
    return (_text(path, encoding),)


def _text(path: Path, encoding: str | None) -> Sheet:
    where = Where(file=path.name)
    data = path.read_bytes()
    try:
        text = data.decode(encoding or "utf-8-sig")
    except LookupError as error:
        raise InputRefusedError(
            "unknown-encoding", f"encoding {encoding!r} is not known", where, 'state one such as "cp1252"'
        ) from error
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1
        raise InputRefusedError(
            "unknown-encoding",
            f"row {row}: byte {data[error.start]:#04x} is not {encoding or 'UTF-8'}",
            Where(file=path.name, id=f"row {row}"),
            'save the table as "CSV UTF-8", or state encoding = "cp1252" if an older spreadsheet wrote it',
        ) from error
    if "\x00" in text:
        raise _damaged(where, "it holds bytes of no text")
    delimiter = _delimiter(text)
    try:
        rows = tuple(
            tuple(" ".join(cell.split()) for cell in row)
            for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        )
    except csv.Error as error:
        raise _damaged(where, str(error)) from error
    _few_enough(len(rows), where)
    return Sheet(path.stem, rows, decimal_comma=delimiter != ",")


def _delimiter(text: str) -> str:
    """Return what parts the columns: what the first row that is no comment holds most of."""
    for line in text.splitlines():
        if line.strip(" ,;\t\r") and not line.lstrip('" ').startswith("#"):
            return max(",;\t", key=line.count)
    return ","


def _workbook(path: Path) -> tuple[Sheet, ...]:
    where = Where(file=path.name)
    try:
        with zipfile.ZipFile(path) as archive:
            members = archive.infolist()
        size = sum(member.file_size for member in members)
        ways = {member.compress_type for member in members}
        # as much memory is asked for as a damaged file says, by some ways of packing and for some parts
        if not ways <= {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}:
            raise _damaged(where, "it is packed in a way that no workbook is")
        if any(member.compress_size > path.stat().st_size for member in members):
            raise _damaged(where, "it says of a part that it is larger than the file")
        if size > _LARGEST:
            raise _damaged(where, f"it unpacks to {size / 1e6:.0f} MB")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and validation that are not kept
            book = openpyxl.load_workbook(path, data_only=False, keep_links=False)
            return tuple(_sheet(sheet, where) for sheet in book.worksheets)
    except InputRefusedError:
        raise
    except _DAMAGE as error:
        raise _damaged(where, f"{type(error).__name__}: {' '.join(str(error).split())[:200]}") from error


def _sheet(sheet: openpyxl.worksheet.worksheet.Worksheet, where: Where) -> Sheet:
    _few_enough(sheet.max_row, where)
    if sheet.max_column > 1000:
        raise _damaged(where, f"sheet {sheet.title!r} has {sheet.max_column} columns")
    rows: list[tuple[str, ...]] = []
    faults: dict[tuple[int, int], str] = {}
    written: set[tuple[int, int]] = set()
    for r, cells in enumerate(sheet.iter_rows()):
        texts = []
        for c, cell in enumerate(cells):
            value = cell.value
            if cell.data_type == "f":
                faults[r, c] = f"holds the formula {str(value)[:40]!r}, which is never worked out here"
                value = ""
            elif cell.data_type == "e":
                faults[r, c] = f"holds the error {value}"
            elif isinstance(value, datetime.date | datetime.time | datetime.timedelta):
                faults[r, c] = f"holds the date or time {value}"
            if isinstance(value, str):
                written.add((r, c))
            texts.append(as_text(value))
        rows.append(tuple(texts))
    while rows and not any(rows[-1]) and not any(r == len(rows) - 1 for r, _ in faults):
        rows.pop()
    merged = tuple((m.min_row - 1, m.max_row - 1, m.coord) for m in sheet.merged_cells.ranges)
    return Sheet(sheet.title, tuple(rows), faults, merged, frozenset(written))


def _few_enough(rows: int, where: Where) -> None:
    if rows > MOST_ROWS:
        raise _damaged(where, f"it has {rows} rows, and no bend schedule is longer than {MOST_ROWS}")


def _damaged(where: Where, why: str) -> InputRefusedError:
    return InputRefusedError(
        "table-damaged",
        f"the table cannot be read: {why}",
        where,
        "save it again in the program that made it",
    )


def named(found: Sequence[Sheet]) -> dict[str, int]:
    """Return how many rows each sheet has.

    Parameters
    ----------
    found : sequence of Sheet
        Of one file.

    Returns
    -------
    dict of str to int
        By name.
    """
    return {sheet.name: len(sheet.rows) for sheet in found}

"""Profile tables: elevations along the route, row by row, from a CSV file or as a job states them."""

from __future__ import annotations

import csv
import hashlib
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from mechanics.errors import DomainError
from mechanics.units import quantity
from routeio.findings import InputRefusedError, Where, span_text
from routeio.ground import UNITS, unit_named
from routeio.heights import means_none
from routeio.options import Level, ProfileTable

_LARGEST = 20_000_000  # bytes
_NAMES = {
    "station": ("station", "sta", "stationing", "chainage", "ch", "distance"),
    "elevation": ("elevation", "elev", "el", "z", "invert", "inv", "level", "height"),
    "vault": ("vault", "tag", "structure", "manhole", "mh", "handhole", "chamber", "name"),
}
#: A heading with its unit: ``station [ft]``, ``station (ft)``, ``station_ft``, ``station, ft``.
_HEADING = re.compile(r"(?P<name>[a-z]+)[\s_,.]*[\[(]?(?P<unit>[a-z_ ]*?)[\])]?")
#: 12+50.00 is 1,250 ft where feet are counted by the hundred, 1+250.00 is 1,250 m where metres by the thousand.
_PLUS = re.compile(r"(?P<sign>[+-]?)(?P<many>\d+)\+(?P<rest>\d{2,3}(?:\.\d*)?)(?P<unit>\s*[A-Za-z_']+)?")
_MENDED = "mend the table: docs/job.md says how one is written"


@dataclass(frozen=True)
class _Row:
    number: int
    station: float
    elevation: float
    vault: str


def read_profile(path: str | Path, units: str | None = None) -> ProfileTable:
    """Read a table of elevations along the route from a CSV file.

    Parameters
    ----------
    path : str or Path
        Columns ``station``, ``elevation`` and ``vault``, separated by commas, semicolons or tabs.
    units : str, optional
        Of stations and elevations, where neither headings nor cells say.

    Returns
    -------
    ProfileTable
        In metres.

    Raises
    ------
    InputRefusedError
        ``no-file``, ``profile-unreadable``, ``unknown-unit``: with the line.
    """
    path = Path(path)
    where = Where(file=path.name)
    data = _bytes(path, where)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _refused(f"byte {error.start} is no UTF-8", where, "save the table as UTF-8") from error
    lines = text.splitlines()
    head = next((k for k, line in enumerate(lines) if line.strip()), None)
    if head is None:
        raise _refused("the table is empty", where)
    split = max(",;\t", key=lines[head].count)
    table = list(csv.reader(lines[head:], delimiter=split))
    columns = _columns(table[0], units, where)
    rows = []
    for number, cells in enumerate(table[1:], head + 2):
        if any(cell.strip() for cell in cells):
            rows.append(_row(cells, columns, number, where))
    return _table(path.name, rows, where, hashlib.sha256(data).hexdigest())


def stated_profile(rows: Iterable[Sequence[str]], name: str) -> ProfileTable:
    """Return the table that a job states row by row.

    Parameters
    ----------
    rows : iterable of sequences of str
        Station and elevation with their units, and the vault's tag where there is one.
    name : str
        Of the job, for findings.

    Returns
    -------
    ProfileTable
        In metres.

    Raises
    ------
    InputRefusedError
        ``profile-unreadable``, with the row.
    """
    where = Where(file=name)
    columns: dict[str, tuple[int, float | None]] = {
        "station": (0, None),
        "elevation": (1, None),
        "vault": (2, None),
    }
    found = []
    for number, cells in enumerate(rows, 1):
        if not 2 <= len(cells) <= 3:
            raise _refused(f"row {number} has {len(cells)} entries, not station, elevation and vault", where)
        found.append(_row(cells, columns, number, where))
    return _table(name, found, where, "")


def _bytes(path: Path, where: Where) -> bytes:
    try:
        if path.stat().st_size > _LARGEST:
            raise _refused(f"{path.stat().st_size / 1e6:.0f} MB is no table of elevations", where)
        return path.read_bytes()
    except FileNotFoundError as error:
        raise InputRefusedError("no-file", f"there is no file {path}", where, "check the name") from error
    except OSError as error:
        raise _refused(f"it cannot be read: {error.strerror or error}", where) from error


def _columns(cells: Sequence[str], units: str | None, where: Where) -> dict[str, tuple[int, float | None]]:
    """Return of each of our columns its place and the metres in its unit, where that is known."""
    stated = None if units is None else UNITS[unit_named(units, "profile units", where)]
    found: dict[str, tuple[int, float | None]] = {}
    for place, cell in enumerate(cells):
        match = _HEADING.fullmatch(cell.strip().lower())
        name = next((ours for ours, names in _NAMES.items() if match and match["name"] in names), None)
        if match is None or name is None:
            continue
        if name in found:
            raise _refused(f"two columns are headed as {name}", where)
        unit = match["unit"].strip()
        found[name] = (place, UNITS[unit_named(unit, cell.strip(), where)] if unit else stated)
    for name in ("station", "elevation", "vault"):
        if name not in found:
            said = ", ".join(c.strip() for c in cells)[:80]
            raise _refused(f"no column is headed {name}; there are {said}", where)
    return found


def _row(
    cells: Sequence[str], columns: dict[str, tuple[int, float | None]], number: int, where: Where
) -> _Row:
    def cell(name: str) -> str:
        place = columns[name][0]
        return str(cells[place]).strip() if place < len(cells) else ""

    station = _length(cell("station"), columns["station"][1], f"station in row {number}", where)
    if math.isnan(station):
        raise _refused(f"row {number} has no station", where)
    elevation = _length(cell("elevation"), columns["elevation"][1], f"elevation in row {number}", where)
    return _Row(number, station, elevation, cell("vault"))


def _length(text: str, metres: float | None, what: str, where: Where) -> float:
    """Return a length in metres; NaN where the cell is blank."""
    if not text or text.lower() in ("nan", "n/a", "-"):
        return math.nan
    plus = _PLUS.fullmatch(text)
    if plus:
        many = 100.0 if len(plus["rest"].split(".")[0]) == 2 else 1000.0
        text = f"{plus['sign']}{int(plus['many']) * many + float(plus['rest'])}{plus['unit'] or ''}"
    try:
        value = float(text)
    except ValueError:
        try:
            return quantity(text, "length", what)
        except DomainError as error:
            raise _refused(str(error), where) from error
    if not abs(value) < 1e9:
        raise _refused(f"{what} is {text}", where)
    if metres is None:
        raise _refused(
            f"{what} is {text}, without a unit", where,
            'write the unit in the heading, such as "station [ft]", or state units',
        )  # fmt: skip
    return value * metres


def _table(name: str, rows: Sequence[_Row], where: Where, sha256: str) -> ProfileTable:
    """Return rows as runs from vault to vault, in which stations rise."""
    if not rows:
        raise _refused("the table has no rows", where)
    dropped = []
    level = np.array([row.elevation for row in rows])
    none = means_none(level)
    if none.any():
        values = ", ".join(span_text(float(v)) for v in np.unique(level[none])[:3])
        dropped.append(f"{int(none.sum())} elevations are none a duct has ({values})")
        level = np.where(none, np.nan, level)
    known = np.isfinite(level)
    if known.sum() > 1 and not level[known].any():
        dropped.append("all elevations are 0, which says that none is known")
        level = np.full(len(rows), np.nan)
    runs: list[list[Level]] = []
    before = math.inf
    for row, z in zip(rows, level.tolist(), strict=True):
        if row.station < before:
            if runs and not row.vault:
                raise _refused(
                    f"the station of row {row.number} is less than that of the row before, and names no vault: "
                    "a new run begins at a vault", where,
                )  # fmt: skip
            runs.append([])
        if runs[-1] and row.station == before and not row.vault:
            if z != runs[-1][-1].elevation and not math.isnan(z):
                raise _refused(f"row {row.number} is at the same station as the row before", where)
            continue
        runs[-1].append(Level(row.station, z, row.vault))
        before = row.station
    for run in runs:
        if not run[0].vault or not run[-1].vault:
            raise _refused(
                f"the run from station {span_text(run[0].station)} to {span_text(run[-1].station)} does not begin "
                "and end at a vault", where, "name the vaults in the column vault, at the stations they are at",
            )  # fmt: skip
    return ProfileTable(name, tuple(tuple(run) for run in runs), sha256, tuple(dropped))


def _refused(message: str, where: Where, remedy: str = _MENDED) -> InputRefusedError:
    return InputRefusedError("profile-unreadable", message, where, remedy)

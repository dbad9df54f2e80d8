"""Tables of ducts, conductors, cables, friction and limits: CSV files with a source for every row.

The built-in files lie in ``mechanics/data``. A file of the same name and columns in the folder of a job adds rows and,
where the key columns say the same, takes the place of a built-in row. Values are written with their units.
"""

from __future__ import annotations

import csv
import functools
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import resources
from io import StringIO
from pathlib import Path

from mechanics.errors import DomainError, instance, number, one_of
from mechanics.units import kinds, quantity

# Columns of each table: how each is read. The first columns, marked "name" or "size", are its key.
_COLUMNS: dict[str, dict[str, str]] = {
    "ducts": {"type": "name", "trade_size": "size", "inside_diameter": "diameter"},
    "conductors": {"size": "name", "area": "area"},
    "cables": {
        "name": "name",
        "diameter": "diameter",
        "weight": "weight",
        "material": "text",
        "conductor_area": "area",
        "construction": "text",
        "jacket": "text",
    },
    "friction": {"jacket": "name", "duct": "name", "lubricated": "number", "dry": "number"},
    "conductor_stress": {"material": "name", "temper": "name", "practice": "name", "stress": "stress"},
    "sidewall": {"construction": "name", "pressure": "sidewall"},
    "bending": {"construction": "name", "placed": "number", "pulling": "number"},
    "temperature": {"jacket": "name", "least": "temperature"},
    "elbows": {"trade_size": "size", "kind": "name", "radius": "diameter"},
    "bags": {
        "called": "name",
        "from_diameter": "diameter",
        "below_diameter": "diameter",
        "content": "volume",
        "across": "diameter",
    },
    "lubricant": {"grade": "name", "coldest": "temperature"},
    "fill": {"cables": "name", "fill": "ratio"},
    "limits": {"name": "name", "value": "value", "kind": "text"},
}
_LARGEST = 1_000_000  # bytes of a user's table
_SIGNED = {"temperature", "text", "name", "size"}


@dataclass(frozen=True)
class Entry:
    """One row of a table.

    Parameters
    ----------
    key : tuple of str
        As written in the key columns.
    values : mapping of str to float or str
        By column, SI.
    source : str
        Of the values.
    place : str
        File and line.
    """

    key: tuple[str, ...]
    values: Mapping[str, float | str]
    source: str
    place: str

    def number(self, column: str) -> float:
        """Return a number of this row, in SI.

        Parameters
        ----------
        column : str
            Its name.

        Returns
        -------
        float
            The value.

        Raises
        ------
        DomainError
            Not a column of numbers of this table.
        """
        value = self.values.get(column)
        if not isinstance(value, float):
            raise DomainError(f"column must hold numbers, got {column!r}")
        return value

    def text(self, column: str) -> str:
        """Return a word of this row.

        Parameters
        ----------
        column : str
            Its name.

        Returns
        -------
        str
            As written.

        Raises
        ------
        DomainError
            Not a column of words of this table.
        """
        value = self.values.get(column)
        if not isinstance(value, str):
            raise DomainError(f"column must hold text, got {column!r}")
        return value


class Tables:
    """The built-in tables, with those of a folder on top.

    Parameters
    ----------
    folder : Path or str, optional
        Where a user's own files of the same names may lie; None: the built-in tables alone.

    Raises
    ------
    DomainError
        No such folder, or a user's table is not readable; the message names file, line and column.
    """

    def __init__(self, folder: Path | str | None = None) -> None:
        self._entries = {name: dict(_built_in(name)) for name in _COLUMNS}
        self.extended: tuple[str, ...] = ()
        if folder is None:
            return
        if not isinstance(folder, Path | str):
            raise DomainError(f"folder must be a path, got {folder!r}")
        if not Path(folder).is_dir():
            raise DomainError(f"folder must be a folder that there is, got {str(folder)!r}")
        for name in _COLUMNS:
            file = Path(folder) / f"{name}.csv"
            if file.is_file():
                rows = _read(name, _text_of(file), str(file))
                if name == "limits":
                    _known_limits(rows)
                self._entries[name] |= rows
                self.extended = (*self.extended, str(file))

    def rows(self, table: str) -> Iterator[Entry]:
        """Go through a table.

        Parameters
        ----------
        table : str
            Its name, such as ``ducts``.

        Yields
        ------
        Entry
            In the order of the files.

        Raises
        ------
        DomainError
            No such table.
        """
        yield from self._table(table).values()

    def find(self, table: str, *key: str) -> Entry:
        """Return the row with a key; case, blanks and the word ``schedule`` do not matter.

        Parameters
        ----------
        table : str
            Its name, such as ``ducts``.
        *key : str
            One for each key column.

        Returns
        -------
        Entry
            The row.

        Raises
        ------
        DomainError
            No such table or row; the message names the keys there are.
        """
        entry = self.get(table, *key)
        if entry is None:
            raise DomainError(self._missing(table, key))
        return entry

    def get(self, table: str, *key: str) -> Entry | None:
        """Return the row with a key, or None.

        Parameters
        ----------
        table : str
            Its name, such as ``ducts``.
        *key : str
            One for each key column.

        Returns
        -------
        Entry or None
            The row.

        Raises
        ------
        DomainError
            No such table, or a key of other columns.
        """
        rows = self._table(table)
        columns = _key_columns(table)
        if len(key) != len(columns):
            raise DomainError(f"key must be of {' and '.join(columns)} for {table}, got {key!r}")
        for column, part in zip(columns, key, strict=True):
            instance(column, part, str)
        return rows.get(_alike(table, key))

    def _table(self, table: str) -> dict[tuple[str, ...], Entry]:
        return self._entries[one_of("table", table, _COLUMNS)]

    def _missing(self, table: str, key: tuple[str, ...]) -> str:
        """Say which part of a key is unknown, and what could stand there."""
        rows = list(self._table(table).values())
        columns = _key_columns(table)
        for depth, column in enumerate(columns):
            wanted = _alike(table, key[: depth + 1])
            known = list(dict.fromkeys(e.key[depth] for e in rows))
            rows = [e for e in rows if _alike(table, e.key[: depth + 1]) == wanted]
            if not rows:
                before = "".join(f" of {k}" for k in key[:depth])
                listed = ", ".join(k or '""' for k in known)
                return f"{column}{before} must be one of {listed}, got {key[depth]!r}"
        return f"{table} has no row {key!r}"


@functools.cache
def built_in() -> Tables:
    """Return the built-in tables alone.

    Returns
    -------
    Tables
        Always the same object.
    """
    return Tables()


def plain_name(text: str) -> str:
    """Return a name without what people write differently.

    Parameters
    ----------
    text : str
        Such as ``PVC Schedule 40``.

    Returns
    -------
    str
        Lower case, without blanks and the word ``schedule``.

    Examples
    --------
    >>> plain_name("PVC Schedule 40")
    'pvc40'
    """
    return re.sub(r"schedule|sch\b\.?|sch(?=\d)|[^a-z0-9./+]", "", text.casefold())


def _normal_size(text: str) -> str:
    """Return a trade size as its number: ``2 1/2``, ``2-1/2"`` and ``2.5 in`` are one."""
    bare = re.sub(r"\s*(?:\"|in\.?|inch(?:es)?|mm)$", "", text.strip().casefold())
    match = re.fullmatch(r"(?:(\d{1,4})[ -]+)?(\d{1,4})/(\d{1,4})", bare)
    if match and int(match[3]):
        return f"{int(match[1] or 0) + int(match[2]) / int(match[3]):g}"
    return f"{float(bare):g}" if re.fullmatch(r"\d{1,4}(?:\.\d{0,4})?", bare) else bare


def _key_columns(table: str) -> list[str]:
    return [column for column, how in _COLUMNS[table].items() if how in {"name", "size"}]


@functools.lru_cache(maxsize=4096)
def _alike(table: str, key: tuple[str, ...]) -> tuple[str, ...]:
    hows = [how for how in _COLUMNS[table].values() if how in {"name", "size"}]
    return tuple(
        _normal_size(part) if how == "size" else plain_name(part)
        for how, part in zip(hows, key, strict=False)
    )


@functools.cache
def _built_in(table: str) -> dict[tuple[str, ...], Entry]:
    text = resources.files("mechanics").joinpath(f"data/{table}.csv").read_text("utf-8")
    return _read(table, text, f"mechanics/data/{table}.csv")


def _text_of(file: Path) -> str:
    try:
        if file.stat().st_size > _LARGEST:
            raise DomainError(f"{file} must be a table of at most {_LARGEST} bytes")
        return file.read_text("utf-8-sig")
    except OSError as error:
        raise DomainError(f"cannot read {file}: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise DomainError(f"{file} must be saved as UTF-8; byte {error.start} is not") from error


def _read(table: str, text: str, file: str) -> dict[tuple[str, ...], Entry]:
    """Read a table strictly; an error names file, line and column."""
    columns = _COLUMNS[table]
    reader = csv.reader(StringIO(text), strict=True)
    try:
        lines = [(reader.line_num, [cell.strip() for cell in row]) for row in reader if any(row)]
    except csv.Error as error:
        raise DomainError(f"{file}, line {reader.line_num}: {error}") from error
    wanted = {*columns, "source"}
    if not lines or set(lines[0][1]) != wanted or len(lines[0][1]) != len(wanted):
        raise DomainError(f"{file} must have the columns {', '.join([*columns, 'source'])}")
    head = lines[0][1]
    entries: dict[tuple[str, ...], Entry] = {}
    for line, row in lines[1:]:
        place = f"{file}, line {line}"
        if len(row) != len(head):
            raise DomainError(f"{place} must have {len(head)} cells, got {len(row)}")
        cells = dict(zip(head, row, strict=True))
        if not cells["source"]:
            raise DomainError(f"{place}: source must say where the values come from")
        key = tuple(cells[column] for column in _key_columns(table))
        values = {c: _value(cells[c], how, cells, f"{place}, {c}") for c, how in columns.items()}
        alike = _alike(table, key)
        if alike in entries:
            raise DomainError(f"{place} says again what {entries[alike].place} says")
        entries[alike] = Entry(key, values, cells["source"], place)
    return entries


def _known_limits(rows: Mapping[tuple[str, ...], Entry]) -> None:
    """Refuse limits of a user's that nothing looks at, or that are of another kind than what they stand for."""
    known = _built_in("limits")
    for key, row in rows.items():
        if key not in known:
            names = ", ".join(e.key[0] for e in known.values())
            raise DomainError(f"{row.place}, name must be one of {names}, got {row.key[0]!r}")
        kind = known[key].text("kind")
        if row.text("kind") != kind:
            raise DomainError(
                f"{row.place}, kind of {row.key[0]} must be {kind or 'empty'}, got {row.text('kind')!r}"
            )
    ends = [_alike("limits", (f"jam_{end}",)) for end in ("low", "high")]
    low, high = ((rows.get(end) or known[end]).number("value") for end in ends)
    if not low < high:  # a band turned about would hold no ratio, and so pass every bundle
        place = next(rows[end].place for end in ends if end in rows)
        raise DomainError(f"{place}: jam_low must be below jam_high, got {low:g} and {high:g}")


def _value(cell: str, how: str, cells: Mapping[str, str], name: str) -> float | str:
    if how == "value":  # of the table of limits: the row itself names the kind
        how = cells["kind"] or "number"
    if how in {"name", "size", "text"}:
        return cell
    if how == "number":
        try:
            value = float(cell)
        except ValueError as error:
            raise DomainError(f"{name} must be a number, got {cell!r}") from error
        number(name, value)
    elif how in kinds():
        value = quantity(cell, how, name)
    else:
        raise DomainError(f"{name}: kind must be one of {', '.join(kinds())} or empty, got {how!r}")
    if how not in _SIGNED and not value > 0:
        raise DomainError(f"{name} must be above 0, got {cell!r}")
    return value

"""Filters on the fields of a format that has none of its own, in the words of GeoPackages: expressions of SQLite."""

from __future__ import annotations

import datetime
import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from decimal import Decimal

import numpy as np

#: An expression takes no more steps than this for each row. [-]
_STEPS = 100_000
_ALLOWED = {sqlite3.SQLITE_READ, sqlite3.SQLITE_FUNCTION}


def matching(columns: Mapping[str, Sequence[object]], rows: int, where: str) -> np.ndarray:
    """Return the rows for which an expression is true.

    Parameters
    ----------
    columns : mapping of str to sequence
        Values by the name of the field.
    rows : int
        How many.
    where : str
        Such as ``status = 'P' AND size > 4``; names of fields in double quotes where they are no plain words.

    Returns
    -------
    ndarray of int, shape (k,)
        From 0, in order.

    Raises
    ------
    sqlite3.Error, ValueError
        It is no such expression, or names a field that is not there.

    Examples
    --------
    >>> matching({"status": ["P", "X", None, "P"], "size": [5, 5, 5, 4]}, 4, "status = 'P' and size > 4").tolist()
    [0]
    """
    selects = iter((sqlite3.SQLITE_OK,))

    def allowed(action: int, *_: object) -> int:
        # the expression is of whoever wrote the job: it may look at the rows and do nothing else
        if action == sqlite3.SQLITE_SELECT:
            return next(selects, sqlite3.SQLITE_DENY)
        return sqlite3.SQLITE_OK if action in _ALLOWED else sqlite3.SQLITE_DENY

    with closing(sqlite3.connect(":memory:")) as table:
        names = ", ".join(['"row at" INTEGER', *(_quoted(name) for name in columns)])
        table.execute(f"CREATE TABLE layer ({names})")
        table.executemany(
            f"INSERT INTO layer VALUES ({', '.join('?' * (len(columns) + 1))})",
            zip(range(rows), *(map(_plain, values) for values in columns.values()), strict=True),
        )
        table.set_authorizer(allowed)
        table.set_progress_handler(lambda: 1, _STEPS * max(rows, 1))
        found = table.execute(f'SELECT "row at" FROM layer WHERE ({where}\n) ORDER BY "row at"').fetchall()
    return np.array([row for (row,) in found], dtype=np.int64)


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _plain(value: object) -> object:
    """Return a value as one that the table can hold."""
    if isinstance(value, bool | np.bool_):
        return int(value)
    if isinstance(value, int) and not -(2**63) <= value < 2**63:
        return float(value)
    if value is None or isinstance(value, int | float | str | bytes):
        return value
    if isinstance(value, Decimal | np.number):
        return float(value)
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    return str(value)

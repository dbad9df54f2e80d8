"""Peeking into tables: the sheets, the headings, and which is a bend schedule."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from mechanics.errors import DomainError
from routeio.findings import InputRefusedError
from routeio.guess import Guess, layers_like
from routeio.options import ReadOptions
from routeio.table import heading_row, read
from routeio.table_columns import column_of
from routeio.table_open import sheets


def peek(path: Path) -> dict[str, Any]:
    """Return what a table holds, as plain values for :class:`routeio.peeking.Peek`.

    Parameters
    ----------
    path : Path
        CSV, TSV or XLSX.

    Returns
    -------
    dict
        Of what JSON knows.

    Raises
    ------
    InputRefusedError
        Damaged, or in another encoding.
    """
    found = sheets(path)
    heads = {sheet.name: heading_row(sheet) for sheet in found}
    usable = {sheet.name: len(sheet.rows) for sheet in found if heads[sheet.name] is not None}
    guesses: list[Guess] = []
    missing: list[str] = []
    if len(usable) == 1:
        name = next(iter(usable))
        row = (heads[name] or 0) + 1
        guesses.append(Guess("ducts", name, f"its row {row} holds the headings of a bend schedule"))
    else:
        guesses += layers_like("ducts", usable)
    if not guesses:
        missing.append(
            "ducts: no sheet holds the headings of a bend schedule (kind, tag, length [ft], angle [deg], radius [ft], "
            "direction ...); tautline new --table writes a table to start from"
        )
    guesses += [
        Guess("vaults", g.name, "a bend schedule names its vaults in the same rows") for g in guesses[:1]
    ]
    columns: dict[str, list[str]] = {}
    sizes = False
    for sheet in found:
        head = heads[sheet.name]
        columns[sheet.name] = [c for c in sheet.rows[head] if c] if head is not None else []
        for at, text in enumerate(columns[sheet.name]):
            try:
                column = column_of(text, at)
            except DomainError:
                continue
            if column is not None and column.name in ("size", "inside_diameter"):
                sizes = True
                guesses.append(Guess(f"ducts.{column.name}", text, "its heading is a usual one for it"))
    unit = None
    try:
        raw = read(path, ReadOptions())
        unit = raw.ground.unit
        # a column that is there and empty says nothing
        stated = any(f.size or f.inside_diameter for span in raw.spans for _, f in span.fields)
    except InputRefusedError as refusal:
        stated = sizes
        missing.append(f"rows: {refusal.message}")
    if not stated:
        guesses = [g for g in guesses if not g.what.startswith("ducts.")]
    return {
        "format": "XLSX bend schedule" if path.suffix.lower() == ".xlsx" else "CSV bend schedule",
        "layers": [
            {
                "name": s.name,
                "kinds": {"row": len(s.rows)},
                "fields": columns[s.name],
                "blocks": [],
                "crs": None,
            }
            for s in found
        ],
        "units": unit,
        "crs": None,
        "extents": None,
        "missing": missing,
        "guesses": [[g.what, g.name, g.reason] for g in guesses],
    }

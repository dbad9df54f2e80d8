"""Ducts wider than any that cables are pulled into: mostly a wrong unit, which would make every pull look easy."""

from __future__ import annotations

from collections.abc import Iterable

from mechanics.tables import built_in, inside_diameter
from mechanics.units import show
from routeio.findings import Finding, InputRefusedError
from routeio.survey import Duct
from tautline.bundles import LaidBundles

# Times the widest duct of the tables: judgement, no source. A casing may be wider, but holds ducts and not cables.
_TIMES = 1.5
_TOLD = 4


def wide_ducts(laid: LaidBundles, ducts: Iterable[Duct]) -> list[Finding]:
    """Return what is to be said of ducts that are wider than ducts for cables are.

    Parameters
    ----------
    laid : LaidBundles
        What was asked; gives the bores.
    ducts : iterable of Duct
        Those that are pulled through.

    Returns
    -------
    list of Finding
        One a diameter, at the first duct that has it.
    """
    job = laid.job
    tables = job.rules.tables or built_in()
    widest = max(inside_diameter(row.key[1], row.key[0], tables) for row in tables.rows("ducts"))
    found: dict[float, list[Duct]] = {}
    for duct in ducts:
        try:
            bore = laid.bore(duct).inside_diameter
        except InputRefusedError:
            continue  # refused or told of where it is pulled through
        if bore is not None and bore > _TIMES * widest:
            found.setdefault(bore, []).append(duct)
    return [
        Finding(
            "duct-wide",
            "warning",
            f"{_named(there)} {'is' if len(there) == 1 else 'are'} {show(bore, 'diameter', job.units)} inside, and the widest "
            f"in the table of ducts is {show(widest, 'diameter', job.units)}: in a duct so wide the cables lie side by side and "
            "every pull looks easier than in one they fill",
            there[0].where,
            "check the figure and its unit",
        )
        for bore, there in sorted(found.items())
    ]


def _named(ducts: list[Duct]) -> str:
    more = f" and {len(ducts) - _TOLD} more" if len(ducts) > _TOLD else ""
    names = ", ".join(f"{d.id} ({d.start_vault} to {d.end_vault})" for d in ducts[:_TOLD])
    return f"duct{'s' if len(ducts) > 1 else ''} {names}{more}"

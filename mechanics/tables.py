"""What the tables say: the inside of a duct, the friction and the coldest day of a jacket."""

from __future__ import annotations

from mechanics.errors import instance
from mechanics.table_files import Entry, Tables, built_in, plain_name

__all__ = [
    "Entry",
    "Tables",
    "built_in",
    "friction_default",
    "inside_diameter",
    "least_temperature",
    "tables_of",
]

# Jackets that the friction and temperature tables hold under one name, common practice.
_JACKETS = {
    "pe": "polyethylene",
    "hdpe": "polyethylene",
    "mdpe": "polyethylene",
    "lldpe": "polyethylene",
    "ldpe": "polyethylene",
    "xlpe": "polyethylene",
    "lszh": "lowsmoke",
    "lsoh": "lowsmoke",
}


def tables_of(tables: Tables | None) -> Tables:
    """Return a user's tables, or the built-in ones where there are none.

    Parameters
    ----------
    tables : Tables or None
        With a user's own rows.

    Returns
    -------
    Tables
        Which to look in.

    Raises
    ------
    DomainError
        Anything else.
    """
    return built_in() if tables is None else instance("tables", tables, Tables)


def inside_diameter(trade_size: str, kind: str, tables: Tables | None = None) -> float:
    """Return the inside diameter of a duct.

    Parameters
    ----------
    trade_size : str
        Such as ``5``, ``2 1/2`` or ``5 in``.
    kind : str
        Type of duct, such as ``PVC 40`` or ``HDPE SDR 11``.
    tables : Tables, optional
        With a user's own rows.

    Returns
    -------
    float
        Inside diameter. [m]

    Raises
    ------
    DomainError
        Not in the table; the message names what is.

    References
    ----------
    [nec], [astm-f512], [astm-f2160], [iso4427] and [en61386-24] in docs/sources.md.

    Examples
    --------
    >>> round(inside_diameter("5", "PVC 40"), 4)
    0.1274
    >>> round(inside_diameter("2-1/2 in", "pvc schedule 80"), 4)
    0.0582
    """
    instance("kind", kind, str)
    return (
        tables_of(tables)
        .find("ducts", kind, instance("trade_size", trade_size, str))
        .number("inside_diameter")
    )


def friction_default(jacket: str, kind: str, tables: Tables | None = None) -> tuple[float, float, str]:
    """Return the friction coefficients taken where a job states none.

    Parameters
    ----------
    jacket : str
        Of the cable, such as ``polyethylene``; empty where not stated.
    kind : str
        Type of duct, such as ``PVC 40``; empty where not stated.
    tables : Tables, optional
        With a user's own rows.

    Returns
    -------
    tuple of float, float and str
        Lubricated, dry, and where they come from. A jacket or duct that the table does not hold gets the highest
        values of the table, or of that jacket, and the text says so.

    Raises
    ------
    DomainError
        No word for a jacket or a duct.

    Examples
    --------
    >>> friction_default("polyethylene", "PVC 40")[:2]
    (0.2, 0.4)
    """
    known = tables_of(tables)
    instance("jacket", jacket, str)
    instance("kind", kind, str)
    jacket_rows = [e for e in known.rows("friction") if jacket and _same_jacket(e.key[0], jacket)]
    if not jacket_rows:
        entry = known.find("friction", "", "any")
        said = f"; jacket {jacket!r} is not in the table" if jacket else ""
        return entry.number("lubricated"), entry.number("dry"), entry.source + said
    family = plain_name(kind)
    for entry in jacket_rows:
        if plain_name(entry.key[1]) == "any" or (family and family.startswith(plain_name(entry.key[1]))):
            return entry.number("lubricated"), entry.number("dry"), entry.source
    for entry in jacket_rows:
        if plain_name(entry.key[1]) in family:  # such as rigid steel
            return entry.number("lubricated"), entry.number("dry"), entry.source
    worst = max(jacket_rows, key=lambda e: e.number("lubricated"))
    said = f"; duct {kind!r} is not in the table" if kind else "; duct type not stated"
    return (
        worst.number("lubricated"),
        worst.number("dry"),
        f"{worst.source}{said}: the highest of that jacket taken (safe side)",
    )


def least_temperature(jacket: str, tables: Tables | None = None) -> tuple[float, str]:
    """Return the least temperature at which a cable may be pulled.

    Parameters
    ----------
    jacket : str
        Of the cable; empty where not stated.
    tables : Tables, optional
        With a user's own rows.

    Returns
    -------
    tuple of float and str
        Temperature [deg C], and where it comes from.

    Raises
    ------
    DomainError
        No word for a jacket.

    Examples
    --------
    >>> least_temperature("PVC")[0]
    -5.0
    """
    known = tables_of(tables)
    instance("jacket", jacket, str)
    for entry in known.rows("temperature"):
        if jacket and _same_jacket(entry.key[0], jacket):
            return entry.number("least"), entry.source
    entry = known.find("temperature", "")
    said = f"; jacket {jacket!r} is not in the table" if jacket else ""
    return entry.number("least"), entry.source + said


def _same_jacket(row: str, jacket: str) -> bool:
    mine = plain_name(jacket)
    return bool(row) and plain_name(row) == _JACKETS.get(mine, mine)

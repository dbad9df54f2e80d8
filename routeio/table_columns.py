"""Columns of a bend schedule: what a heading means, and cells as quantities by the strict grammar."""

from __future__ import annotations

import re
from dataclasses import dataclass

from mechanics.errors import DomainError
from mechanics.units import accepted, factor, quantity

#: Our columns, and what else people write over them.
COLUMNS = {
    "kind": ("kind", "item", "element", "piece", "row", "component", "what"),
    "tag": ("tag", "vault", "name", "manhole", "structure", "vault tag"),
    "length": ("length", "len", "distance"),
    "angle": ("angle", "bend angle", "deflection", "degrees"),
    "radius": ("radius", "bend radius", "bending radius", "r"),
    "direction": ("direction", "side", "way", "turn"),
    "offset": ("offset", "rise", "drop", "height", "shift"),
    "elevation": ("elevation", "invert", "elev", "z"),
    "size": ("size", "trade size", "duct size"),
    "type": ("type", "duct type", "duct"),
    "inside_diameter": ("inside diameter", "inside_diameter", "bore"),
    "friction": ("friction", "coefficient of friction", "cof"),
    "splice": ("splice",),
    "feed": ("feed",),
    "pull": ("pull",),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments", "description"),
}
#: Columns of quantities, and of which kind.
MEASURED = {
    "length": "length", "angle": "angle", "radius": "length", "offset": "length", "elevation": "length",
    "inside_diameter": "diameter",
}  # fmt: skip
_MEANT = {word: name for name, words in COLUMNS.items() for word in words}
_HEADING = re.compile(r"(?P<name>[^\[(,]+?)\s*(?:[\[(,]\s*(?P<unit>[^\])]*?)\s*[\])]?)?")
_BARE = re.compile(r"[+-]?\s?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,2})?", re.ASCII)
#: Degrees and inches by halves, quarters and eighths: 22 1/2, 11-1/4, 22½.
_FRACTION = re.compile(r"(?:\d+[ -])?\d+/\d+|\d* ?[½¼¾⅛⅜⅝⅞]", re.ASCII)
_GROUPED = re.compile(r"(?P<head>[+-]?[1-9]\d{0,2})\.(?P<tail>\d{3})(?:\D.*)?", re.ASCII)
_COMMA = re.compile(r"(?P<head>[+-]?\d+),(?P<tail>\d+)(?P<rest>\D.*)?", re.ASCII)
_UNIT = re.compile(r"[^A-Za-z°'\"]*(?P<unit>[A-Za-z°'\"_]+)\.?", re.ASCII)


@dataclass(frozen=True)
class Column:
    """A column that means something.

    Parameters
    ----------
    name : str
        A key of :data:`COLUMNS`.
    at : int
        From 0.
    unit : str
        Of its bare numbers; empty where the heading states none.
    heading : str
        As written.
    """

    name: str
    at: int
    unit: str
    heading: str


def column_of(heading: str, at: int) -> Column | None:
    """Return what a heading means.

    Parameters
    ----------
    heading : str
        Such as ``Length [ft]``, ``angle (deg)`` or ``radius ft``.
    at : int
        Column, from 0.

    Returns
    -------
    Column or None
        None for a heading that means nothing here.

    Raises
    ------
    DomainError
        A unit that is none of that column's.

    Examples
    --------
    >>> column_of("Radius (ft)", 3)
    Column(name='radius', at=3, unit='ft', heading='Radius (ft)')
    >>> column_of("who drew it", 4) is None
    True
    """
    match = _HEADING.fullmatch(heading.strip())
    if match is None:
        return None
    word, unit = " ".join(match["name"].lower().split()), (match["unit"] or "").strip()
    name = _MEANT.get(word)
    if name is None and not unit and " " in word:
        # "length ft": the last word is the unit
        before, _, last = word.rpartition(" ")
        name, unit = _MEANT.get(before), last
    if name is None:
        return None
    kind = MEASURED.get(name)
    if kind is None:
        unit = ""
    elif unit:
        try:
            factor(unit, kind)
        except DomainError as error:
            raise DomainError(
                f"heading {heading!r}: {unit!r} is no unit of {kind}; units accepted: {', '.join(accepted(kind))}"
            ) from error
    return Column(name, at, unit, heading)


def measured(text: str, column: Column, decimal_comma: bool, either: bool | None = None) -> float:
    """Return a cell as a quantity.

    Parameters
    ----------
    text : str
        Such as ``120 ft``, or ``120`` under a heading with a unit.
    column : Column
        It stands in.
    decimal_comma : bool
        Whether ``12,5`` is twelve and a half here.
    either : bool, optional
        Whether ``1.200`` may be twelve hundred here; default: where commas are decimal.

    Returns
    -------
    float
        In SI.

    Raises
    ------
    DomainError
        A bare number under a heading without a unit, a comma that may be either, another unit than the heading's.

    Examples
    --------
    >>> round(measured("12,5", Column("radius", 3, "ft", "radius [ft]"), True), 3)
    3.81
    """
    kind, what = MEASURED[column.name], column.heading
    grouped = _GROUPED.fullmatch(text)
    if grouped and (decimal_comma if either is None else either):
        head, tail = grouped["head"], grouped["tail"]
        raise DomainError(
            f"{what} {text!r} may be thousands or decimals; write {head}{tail} or {head}.{tail}0"
        )
    match = _COMMA.fullmatch(text)
    if match:
        if not decimal_comma:
            raise DomainError(f"{what} {text!r} holds a comma; write it with a point, or without")
        if (
            len(match["tail"]) == 3
            and len(match["head"].lstrip("+-")) <= 3
            and match["head"].lstrip("+-") != "0"
        ):
            raise DomainError(
                f"{what} {text!r} may be thousands or decimals; write {match['head']}{match['tail']} or "
                f"{match['head']}.{match['tail']}"
            )
        text = f"{match['head']}.{match['tail']}{match['rest'] or ''}"
    if _BARE.fullmatch(text) or _FRACTION.fullmatch(text):
        if not column.unit:
            raise DomainError(
                f"{what} {text!r} has no unit; write it with one, or name it in the heading, such as "
                f"{column.name} [{'deg' if kind == 'angle' else 'ft'}]"
            )
        return quantity(f"{text} {column.unit}", kind, what)
    value = quantity(text, kind, what)
    own = _UNIT.match(text)
    if column.unit and own and kind == "length":
        try:
            differ = abs(factor(own["unit"], kind) / factor(column.unit, kind) - 1.0) > 1e-12
        except DomainError:
            differ = False  # degrees with minutes, feet with inches
        if differ:
            raise DomainError(f"{what} {text!r} is in another unit than its heading; write both alike")
    return value

"""Fields of a layer's features: the values a column holds, as what we need of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from mechanics.errors import DomainError
from mechanics.units import quantity
from routeio.findings import Finding, InputRefusedError, Where
from routeio.guess import unit_in_name
from routeio.survey import DuctFields

DUCT_FIELDS = ("size", "type", "inside_diameter", "friction", "count", "free", "length", "flooded", "id")
VAULT_FIELDS = ("name", "kind", "rim", "invert", "splice", "feed", "pull")

_YES, _NO = ("yes", "y", "true", "t", "1"), ("no", "n", "false", "f", "0")


def as_text(value: object) -> str:
    """Return a field's value as text, empty where it holds none.

    Parameters
    ----------
    value : object
        As the library gives it.

    Returns
    -------
    str
        Whole numbers without a point.

    Examples
    --------
    >>> as_text(5.0), as_text(float("nan")), as_text(None), as_text(" MH-1 ")
    ('5', '', '', 'MH-1')
    """
    if value is None:
        return ""
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, float | np.floating):
        number = float(value)
        if math.isnan(number):
            return ""
        return str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)
    if isinstance(value, np.datetime64) and np.isnat(value):
        return ""
    return " ".join(str(value).split())


def with_unit_of(what: str, name: str, text: str) -> str:
    """Return a bare number with the unit that its field's name ends in; anything else as it is.

    Parameters
    ----------
    what : str
        Our name of the field.
    name : str
        The file's.
    text : str
        A value.

    Returns
    -------
    str
        Such as ``12.5 ft``.

    Examples
    --------
    >>> with_unit_of("invert", "INV_FT", "12.5"), with_unit_of("invert", "INV", "12.5")
    ('12.5 ft', '12.5')
    """
    unit = unit_in_name(what, name)
    try:
        float(text)
    except ValueError:
        return text
    return f"{text} {unit}" if unit else text


@dataclass
class DuctColumns:
    """The columns of a duct layer that say something of its ducts.

    Parameters
    ----------
    names : mapping of str to str
        Our name to the file's.
    columns : mapping of str to ndarray
        By the file's names.
    length_factor : float
        Metres in the unit of a bare recorded length whose field's name says no unit. [m]
    where : Where
        File and layer.
    """

    names: Mapping[str, str]
    columns: Mapping[str, np.ndarray]
    length_factor: float
    where: Where
    findings: list[Finding] = field(default_factory=list, init=False)
    _bad: dict[str, list[str]] = field(default_factory=dict, init=False)
    _cache: dict[tuple[str, ...], DuctFields] = field(default_factory=dict, init=False)

    def id_of(self, row: int, fid: str) -> str:
        """Return the id of a feature, its own field's or its feature id."""
        if "id" not in self.names:
            return fid
        return as_text(self.columns[self.names["id"]][row]) or fid

    def of(self, row: int, fid: str) -> DuctFields:
        """Return what the fields of a feature say; what cannot be read is left out and counted."""
        if not self.names:
            return _NOTHING
        texts = tuple(
            as_text(self.columns[self.names[name]][row]) if name in self.names else "" for name in DUCT_FIELDS
        )
        key = texts[:-1]  # the id is no attribute
        if key not in self._cache:
            self._cache[key] = self._made(dict(zip(DUCT_FIELDS, texts, strict=True)), fid)
        return self._cache[key]

    def _made(self, texts: Mapping[str, str], fid: str) -> DuctFields:
        return DuctFields(
            size=texts["size"] or None,
            type=texts["type"] or None,
            inside_diameter=self._with_unit("inside_diameter", texts["inside_diameter"], fid),
            friction=self._number("friction", texts["friction"], fid, below=2.0),
            count=self._whole("count", texts["count"], fid),
            free=self._whole("free", texts["free"], fid),
            recorded_length=self._length(texts["length"], fid),
            flooded=self._flag("flooded", texts["flooded"], fid),
        )

    def _with_unit(self, name: str, text: str, fid: str) -> float | None:
        if not text:
            return None
        try:
            value = quantity(self._as_named(name, text), "diameter", name)
        except DomainError:
            return self._unreadable(name, text, fid)
        return value if 0.0 < value < 5.0 else self._unreadable(name, text, fid)

    def _number(self, name: str, text: str, fid: str, below: float) -> float | None:
        if not text:
            return None
        try:
            value = float(text)
        except ValueError:
            return self._unreadable(name, text, fid)
        return value if 0.0 < value < below else self._unreadable(name, text, fid)

    def _whole(self, name: str, text: str, fid: str) -> int | None:
        if not text:
            return None
        if text.isdecimal() and len(text) < 6:
            return int(text)
        self._unreadable(name, text, fid)
        return None

    def _flag(self, name: str, text: str, fid: str) -> bool | None:
        if text.casefold() in _YES or text.casefold() in _NO:
            return text.casefold() in _YES
        if text:
            self._unreadable(name, text, fid)
        return None

    def _length(self, text: str, fid: str) -> float | None:
        if not text:
            return None
        try:
            value = float(self._as_named("length", text)) * self.length_factor
        except ValueError:
            try:
                value = quantity(self._as_named("length", text), "length", "length")
            except DomainError:
                return self._unreadable("length", text, fid)
        return value if 0.0 < value < 1e9 else self._unreadable("length", text, fid)

    def _as_named(self, name: str, text: str) -> str:
        return with_unit_of(name, self.names[name], text)

    def _unreadable(self, name: str, text: str, fid: str) -> float | None:
        self._bad.setdefault(name, []).append(f"{text[:30]!r} of feature {fid}")
        return None

    def said(self) -> list[Finding]:
        """Return a finding for each field with values that could not be read."""
        right = {
            "inside_diameter": 'a number with a unit, such as "5.047 in"',
            "friction": "a number above 0 and below 2",
            "length": "a number above 0, or one with a unit",
            "flooded": "yes or no",
        }
        return [
            Finding(
                "field-unreadable",
                "warning",
                f"{len(bad)} values of {self.names[name]!r} (ducts {name}) cannot be read and are left out: "
                + ", ".join(bad[:3]),
                self.where,
                f"write {right.get(name, 'a whole number')}",
            )
            for name, bad in self._bad.items()
        ]


_NOTHING = DuctFields()


def check_fields(what: str, told: Mapping[str, str], there: tuple[str, ...], where: Where) -> dict[str, str]:
    """Return a field mapping with the file's own spelling of each name.

    Parameters
    ----------
    what : str
        ``ducts`` or ``vaults``.
    told : mapping of str to str
        Our name to the file's, as the user wrote it.
    there : tuple of str
        The file's fields.
    where : Where
        For the refusal.

    Returns
    -------
    dict of str to str
        Our name to the file's.

    Raises
    ------
    InputRefusedError
        ``missing-field``, listing those there are.
    """
    exact = {name.lower(): name for name in reversed(there)}
    found = {}
    for ours, theirs in told.items():
        name = theirs if theirs in there else exact.get(theirs.lower())
        if name is None:
            cut = (
                "; shapefiles cut names to ten letters"
                if len(theirs) > 10 and where.file.endswith(".shp")
                else ""
            )
            raise InputRefusedError(
                "missing-field",
                f"no field {theirs!r} for {what} {ours}{cut}",
                where,
                "the fields are " + (", ".join(repr(f) for f in there) or "none"),
            )
        found[ours] = name
    return found

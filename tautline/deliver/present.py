"""Numbers in the job's own units, and names from files as plain text: the one place where figures are rounded."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

FOOT = 0.3048
INCH = 0.0254
POUND_FORCE = 4.4482216152605
GALLON = 3.785411784
"""Exact by definition (NIST SP 811): metres, metres, newtons, litres."""
KCMIL = 0.5067074790974977e-6
"""Thousand circular mils: pi/4 x (25.4 mm)^2 / 1000, in m2."""
DEGREE = 0.017453292519943295


@dataclass(frozen=True)
class Unit:
    """How one kind of quantity is shown.

    Parameters
    ----------
    label : str
        Such as ``lbf/ft``.
    scale : float
        SI value of one of it.
    decimals : int
        Shown where the figure is below 100.
    large : int, optional
        Decimals shown from 100 on.
    """

    label: str
    scale: float
    decimals: int
    large: int = 0


_US = {
    "length": Unit("ft", FOOT, 1),
    "size": Unit("in", INCH, 2, 1),
    "force": Unit("lbf", POUND_FORCE, 0),
    "pressure": Unit("lbf/ft", POUND_FORCE / FOOT, 0),
    "weight": Unit("lbf/ft", POUND_FORCE / FOOT, 2, 1),
    "volume": Unit("gal", GALLON, 1),
    "area": Unit("kcmil", KCMIL, 1),
    "speed": Unit("ft/min", FOOT / 60, 0),
    "angle": Unit("°", DEGREE, 1),
    "number": Unit("", 1.0, 3, 1),
    "percent": Unit("%", 1.0, 1),
}
_SI = _US | {
    "length": Unit("m", 1.0, 1, 1),
    "size": Unit("mm", 0.001, 1),
    "force": Unit("kN", 1000.0, 2, 1),
    "pressure": Unit("kN/m", 1000.0, 2, 1),
    "weight": Unit("N/m", 1.0, 1),
    "volume": Unit("L", 1.0, 1),
    "area": Unit("mm²", 1e-6, 1),
    "speed": Unit("m/min", 1 / 60, 1),
}
_KIND_OF_SI = {
    "N": "force",
    "N/m": "pressure",
    "m": "length",
    "m2": "area",
    "rad": "angle",
    "m/s": "speed",
    "%": "percent",
}
_SMALL = 3.0
"""Metres under which a check's lengths are sizes (a radius, a clearance) and not distances."""


@dataclass(frozen=True)
class Units:
    """The units one job is read in.

    Parameters
    ----------
    system : {"us", "si"}
        As the document's ``job.units`` says.

    Examples
    --------
    >>> us = Units("us")
    >>> us.text("force", 19000.0), us.text("length", 570.0), us.text("pressure", None)
    ('4,271 lbf', '1,870 ft', '-')
    """

    system: str

    @staticmethod
    def of(document: Mapping[str, Any]) -> Units:
        """Return the units of a result document."""
        return Units(document["job"]["units"])

    def unit(self, kind: str) -> Unit:
        """Return how quantities of a kind (``force``, ``length``, ...) are shown."""
        return (_US if self.system == "us" else _SI)[kind]

    def label(self, kind: str) -> str:
        """Return the unit's label, such as ``lbf``."""
        return self.unit(kind).label

    def value(self, kind: str, si: float) -> float:
        """Return an SI value in the job's unit, not rounded."""
        return si / self.unit(kind).scale

    def figure(self, kind: str, si: float | None, extra: int = 0) -> str:
        """Return the rounded figure without its unit; ``-`` for None. ``extra``: more decimals."""
        if si is None:
            return "-"
        unit = self.unit(kind)
        shown = si / unit.scale
        decimals = (unit.decimals if abs(shown) < 100 else unit.large) + extra
        return f"{round(shown, decimals) + 0.0:,.{decimals}f}"

    def text(self, kind: str, si: float | None, extra: int = 0) -> str:
        """Return the rounded figure with its unit."""
        if si is None:
            return "-"
        label = self.label(kind)
        space = "" if label in ("°", "") else " "
        return f"{self.figure(kind, si, extra)}{space}{label}"

    def temperature(self, celsius: float) -> str:
        """Return a temperature in degrees Fahrenheit or Celsius."""
        return f"{celsius * 9 / 5 + 32:.0f} °F" if self.system == "us" else f"{celsius:.0f} °C"

    def check(self, check: Mapping[str, Any]) -> tuple[str, str]:
        """Return a check's value and limit, with so many decimals that unequal ones never look equal."""
        value, limit, unit = check["value"], check["limit"], check["unit"]
        if unit == "degC":
            return tuple("-" if v is None else self.temperature(v) for v in (value, limit))  # type: ignore[return-value]
        kind, label = self.kind_of(check)
        high = check.get("limit_high")
        if limit is not None and high is not None:  # a band
            return self.text(kind, value), f"{self.text(kind, limit)} to {self.text(kind, high)}"
        for extra in range(5):
            texts = self.text(kind, value, extra), self.text(kind, limit, extra)
            if value is None or limit is None or value == limit or texts[0] != texts[1]:
                break
        if kind == "number" and label:
            return f"{texts[0]} {label}", f"{texts[1]} {label}"
        return texts

    def kind_of(self, check: Mapping[str, Any]) -> tuple[str, str]:
        """Return the kind of quantity a check is shown as, and the label of its unit."""
        kind = _KIND_OF_SI.get(check["unit"], "number")
        if kind == "length" and max(abs(check["value"] or 0.0), abs(check["limit"] or 0.0)) < _SMALL:
            kind = "size"
        if kind == "number":
            return kind, "" if check["unit"] == "1" else str(check["unit"])
        return kind, self.label(kind)

    def setting(self, setting: Mapping[str, Any]) -> str:
        """Return the value of one of the document's settings, with the digits it was given: it is input."""
        value, unit = setting["value"], setting["unit"]
        if value is None:
            return "not stated"
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, str):
            return plain(value)
        if unit == "degC":
            return self.temperature(float(value))
        kind, label = self.kind_of({"value": value, "limit": None, "unit": unit})
        shown = float(value) if kind == "number" else self.value(kind, float(value))
        # six digits: more than any data sheet states, fewer than conversion leaves as noise
        return " ".join(part for part in (f"{float(f'{shown:.6g}'):,.10g}", label) if part)


def percent(utilisation: float | None) -> str:
    """Return a utilisation in percent, never rounded across 100.

    Parameters
    ----------
    utilisation : float or None
        A ratio.

    Returns
    -------
    str
        With the sign.

    Examples
    --------
    >>> percent(0.854), percent(0.9996), percent(1.0002), percent(None)
    ('85 %', '99.96 %', '100.02 %', '-')
    >>> percent(1.0 - 1e-12)
    '100 %'
    """
    if utilisation is None:
        return "-"
    shown = 100.0 * utilisation
    decimals = next((d for d in range(7) if round(shown, d) != 100.0 or shown == 100.0), 0)
    return f"{shown:,.{decimals}f} %"


def percents(utilisations: Sequence[float]) -> list[str]:
    """Return utilisations in percent, with as many more digits as it takes to tell different ones apart.

    Parameters
    ----------
    utilisations : sequence of float
        Ratios that stand side by side.

    Returns
    -------
    list of str
        Each with the sign.

    Examples
    --------
    >>> percents([0.7547, 0.7512, 0.62]), percents([0.75, 0.75])
    (['75.5 %', '75.1 %', '62 %'], ['75 %', '75 %'])
    >>> percents([0.9996, 0.99958])
    ['99.960 %', '99.958 %']
    """
    shown = [percent(u) for u in utilisations]
    for decimals in range(1, 7):
        before = tuple(zip(shown, utilisations, strict=True))
        for k, (text, value) in enumerate(before):
            finer = f"{100.0 * value:,.{decimals}f} %"
            if len(finer) > len(text) and any(s == text and abs(v - value) > 1e-9 for s, v in before):
                shown[k] = finer
    return shown


def used(way: Mapping[str, Any]) -> str:
    """Return the utilisation of a pull, or of its other way, in percent.

    Parameters
    ----------
    way : mapping
        With ``utilisation`` and ``verdict``.

    Returns
    -------
    str
        A dash where it fails by a check that has no ratio, such as a least temperature: the ratio of another check
        would say that there is room.

    Examples
    --------
    >>> used({"utilisation": 0.08, "verdict": "fail"}), used({"utilisation": 1.2, "verdict": "fail"})
    ('-', '120 %')
    """
    return percent(ratio(way))


def ratio(way: Mapping[str, Any]) -> float | None:
    """Return the utilisation of a pull, or of its other way, where it tells how near the limit it is.

    Parameters
    ----------
    way : mapping
        With ``utilisation`` and ``verdict``.

    Returns
    -------
    float or None
        None where it fails by a check that has no ratio.
    """
    use: float = way["utilisation"]
    return use if way["verdict"] != "fail" or use > 1.0 else None


def words(name: str) -> str:
    """Return a name from the document's own vocabulary as words: ``max_tension`` is ``max tension``.

    Parameters
    ----------
    name : str
        With underscores.

    Returns
    -------
    str
        With spaces.
    """
    return name.replace("_", " ")


def count(number: int, one: str, many: str = "") -> str:
    """Return a number with its noun: ``1 pull``, ``3 pulls``.

    Parameters
    ----------
    number : int
        How many.
    one : str
        Noun.
    many : str, optional
        Its plural; default with an s.

    Returns
    -------
    str
        Both.
    """
    return f"{number:,} {one if number == 1 else many or one + 's'}"


@lru_cache(maxsize=20_000)
def plain(text: object) -> str:
    r"""Return a name from a file as one line of text: no control or bidirectional-control characters.

    Examples
    --------
    >>> plain("MH\x1b[31m-1\n") == "MH\ufffd[31m-1"
    True
    """
    return "".join("\ufffd" if _unsafe(c) else c for c in " ".join(str(text).split()) if c not in _ISOLATES)


_ISOLATES = "\u2066\u2069"
"""Begin and end of text that is laid out apart from what stands beside it (Unicode Standard Annex 9)."""


@lru_cache(maxsize=20_000)
def isolated(text: object) -> str:
    """Return a name as :func:`plain` does, set apart where it runs from right to left.

    Without that a name would draw figures and arrows beside it to its other side: ``A → B`` would read ``B → A``.

    Parameters
    ----------
    text : object
        A name from a file.

    Returns
    -------
    str
        Between isolates where a letter runs from right to left, else as it is.

    Examples
    --------
    >>> isolated("MH-1"), isolated("\u05d1 1") == "\u2066\u05d1 1\u2069"
    ('MH-1', True)
    """
    name = plain(text)
    if name.isascii() or not any(unicodedata.bidirectional(c) in ("R", "AL") for c in name):
        return name
    return f"{_ISOLATES[0]}{name}{_ISOLATES[1]}"


def _unsafe(character: str) -> bool:
    category = unicodedata.category(character)
    return (
        category in ("Cc", "Cs", "Zl", "Zp")
        or character in "\u200e\u200f\u202a\u202b\u202c\u202d\u202e\ufeff\u2066\u2067\u2068\u2069"
    )


def columns(text: str) -> int:
    """Return how many terminal columns a text takes: wide characters two, combining ones none.

    Parameters
    ----------
    text : str
        One line.

    Returns
    -------
    int
        Columns.
    """
    if text.isascii():
        return len(text)
    return sum(
        0
        if unicodedata.combining(c) or unicodedata.category(c) in ("Mn", "Me", "Cf")
        else 2
        if unicodedata.east_asian_width(c) in "WF"
        else 1
        for c in text
    )

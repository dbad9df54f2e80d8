"""Numbers with units, as people write them, to SI floats and back: the one place that knows a unit registry.

Text from outside never reaches the registry. A strict grammar of our own takes the number and the unit apart; the
registry is asked only for the conversion factor of a spelling listed in ``data/units.toml``. So ``9**9**9 ft`` is
refused at once, ``500 ft 6 in`` is feet and inches and not a product, and ``lb/ft`` is a weight and not a mass.
"""

from __future__ import annotations

import functools
import math
import re
import tomllib
from dataclasses import dataclass
from fractions import Fraction
from importlib import resources
from typing import Any, Literal

import pint

from mechanics.errors import DomainError, instance, number, one_of, whole

System = Literal["us", "si"]

_LONGEST = 80  # characters; no quantity a person writes is longer
_DECIMAL = r"(?:\d+(?:\.\d*)?|\.\d+)"
_NUMBER = rf"{_DECIMAL}(?:[eE][+-]?\d{{1,2}})?"
_FRACTION = r"(?:\d+[ -])?\d+/\d+"
_PLAIN = re.compile(rf"(?P<sign>[+-]?) ?(?P<number>{_FRACTION}|{_NUMBER}) ?(?P<unit>\D.*)?", re.ASCII)
_FEET_INCHES = re.compile(
    rf"(?P<sign>[+-]?)(?P<feet>\d+) ?(?:ft|feet|foot|')(?: ?- ?| )?"
    rf"(?P<inches>{_FRACTION}|{_DECIMAL}) ?(?:in|inch|inches|\")",
    re.IGNORECASE | re.ASCII,
)
_DEGREES = re.compile(
    rf"(?P<sign>[+-]?)(?P<degrees>\d+) ?° ?(?P<minutes>{_DECIMAL}) ?'(?: ?(?P<seconds>{_DECIMAL}) ?\")?",
    re.ASCII,
)
_GAUGE = re.compile(
    r"(?:(?P<a>\d/0|\d{1,2}|0{2,4}) ?AWG|AWG ?(?P<b>\d/0|\d{1,2}|0{2,4}))", re.IGNORECASE | re.ASCII
)
_PER_MANY = re.compile(r"(?P<many>1000|100) ?(?P<unit>\D.*)", re.ASCII)
_ALIKE = str.maketrans(
    {
        "²": "^2",
        "³": "^3",
        "′": "'",
        "’": "'",
        "″": '"',
        "”": '"',
        "−": "-",
        "–": "-",
        "\u00a0": " ",
        "º": "°",
        "½": " 1/2",
        "¼": " 1/4",
        "¾": " 3/4",
        "⅛": " 1/8",
        "⅜": " 3/8",
        "⅝": " 5/8",
        "⅞": " 7/8",
    }
)


@dataclass(frozen=True)
class _Kind:
    of: tuple[str, ...]
    divisor: str | None
    si: str
    example: str
    shown: dict[str, tuple[str, int]]


@functools.cache
def _registry() -> pint.UnitRegistry[Any]:
    # exact fractions: 500 ft is 152.4 m to the last bit, and the two feet differ by what they should
    definitions = resources.files("mechanics").joinpath("data/units.txt").read_text("utf-8")
    registry: pint.UnitRegistry[Any] = pint.UnitRegistry(None, non_int_type=Fraction)
    registry.load_definitions(definitions.splitlines())
    return registry


@functools.cache
def _spellings() -> dict[str, dict[str, str]]:
    """For each quantity, its spellings as written and, where that stays unique, in lower case."""
    table: dict[str, dict[str, str]] = {}
    for name, units in _document()["spellings"].items():
        exact = {spelling: unit for unit, spellings in units.items() for spelling in spellings}
        lower: dict[str, set[str]] = {}
        for spelling, unit in exact.items():
            lower.setdefault(spelling.lower(), set()).add(unit)
        table[name] = {s: next(iter(u)) for s, u in lower.items() if len(u) == 1} | exact
    return table


@functools.cache
def _kinds() -> dict[str, _Kind]:
    return {
        name: _Kind(
            tuple(kind["of"]),
            kind.get("per") or kind.get("over"),
            kind["si"],
            kind["example"],
            {system: (unit, decimals) for system, (unit, decimals) in kind["shown"].items()},
        )
        for name, kind in _document()["kinds"].items()
    }


@functools.cache
def _document() -> dict[str, Any]:
    return tomllib.loads(resources.files("mechanics").joinpath("data/units.toml").read_text("utf-8"))


def kinds() -> tuple[str, ...]:
    """Return the kinds of value that :func:`quantity` and :func:`show` know.

    Returns
    -------
    tuple of str
        Such as ``length``, ``force``, ``weight``.
    """
    return tuple(_kinds())


def accepted(kind: str) -> tuple[str, ...]:
    """Return one spelling of each unit that a kind of value accepts.

    Parameters
    ----------
    kind : str
        One of :func:`kinds`.

    Returns
    -------
    tuple of str
        The usual spelling of each unit, combined ones as examples.

    Raises
    ------
    DomainError
        Unknown kind.

    Examples
    --------
    >>> accepted("angle")
    ('rad', 'deg', 'gon')
    """
    wanted = _kind(kind)
    document = _document()["spellings"]
    heads = [spellings[0] for name in wanted.of for spellings in document[name].values()]
    if wanted.divisor is None:
        return tuple(heads + (["AWG"] if kind == "area" else []))
    if kind == "stress":
        return (*heads, "N/mm2", "lbf/cmil", "lbf/kcmil")
    if wanted.divisor == "time":
        return ("ft/min", "m/min", "m/s")
    return tuple(f"{head}/{'ft' if head in {'lbf', 'kip'} else 'm'}" for head in heads)


def quantity(text: object, kind: str, name: str = "") -> float:
    """Read a number with its unit.

    Parameters
    ----------
    text : str
        Such as ``500 ft``, ``500 ft 6 in``, ``5'-6"``, ``2 1/2 in``, ``6½ in``, ``1.8 lbf/ft``, ``4/0 AWG``, ``12°30'``.
    kind : str
        One of :func:`kinds`.
    name : str, optional
        What the caller calls this value, for the message of an error.

    Returns
    -------
    float
        In SI; angles in radians, temperatures in degrees Celsius, volumes in litres, ratios as fractions.

    Raises
    ------
    DomainError
        Not a number with one of the kind's units; the message names the units it accepts.

    Notes
    -----
    ``ft`` is the international foot, 0.3048 m exactly; the US survey foot, 1200/3937 m, has to be named. A comma is
    refused, since it separates thousands in one country and decimals in the next. A mass per length is a weight at
    standard gravity. American Wire Gauge sizes follow the diameter rule of the standard.

    References
    ----------
    [nist-sp811] and [astm-b258] in docs/sources.md.

    Examples
    --------
    >>> round(quantity("500 ft 6 in", "length"), 4)
    152.5524
    >>> round(quantity("1.8 lb/ft", "weight"), 4)
    26.269
    >>> quantity("500", "length", "plan.reel")
    Traceback (most recent call last):
    ...
    mechanics.errors.DomainError: plan.reel must be a number with a unit, such as '500 ft', got '500'; \
units accepted: m, mm, cm, km, ft, in, kft, yd, mi, us_survey_foot
    """
    wanted = _kind(kind)
    if not isinstance(text, str):
        raise _refused(text, kind, name)
    if len(text) > _LONGEST:
        raise _refused(text[:20] + "...", kind, name)
    clean = " ".join(text.translate(_ALIKE).split())
    value = _compound(clean, wanted)
    if value is None:
        match = _PLAIN.fullmatch(clean)
        if not match or not match["unit"]:
            raise _refused(text, kind, name)
        figure = _number(match["number"])
        if figure is None:
            raise _refused(text, kind, name)
        unit = _unit(match["unit"], wanted)
        if unit is None:
            raise _refused(text, kind, name)
        value = _to_si(-figure if match["sign"] == "-" else figure, unit, wanted.si)
    if not math.isfinite(value):
        raise _refused(text, kind, name)
    return value


def factor(unit: str, kind: str) -> float:
    """Return the SI value of one unit of a kind (not for temperatures).

    Parameters
    ----------
    unit : str
        A spelling the kind accepts, such as ``us_survey_foot``.
    kind : str
        One of :func:`kinds`.

    Returns
    -------
    float
        In the kind's SI unit.

    Raises
    ------
    DomainError
        Not a unit of that kind, or a temperature.

    Examples
    --------
    >>> factor("ft", "length")
    0.3048
    >>> factor("us_survey_foot", "length") == 1200 / 3937
    True
    """
    wanted = _kind(kind)
    instance("unit", unit, str)
    expression = None if kind == "temperature" else _unit(" ".join(unit.translate(_ALIKE).split()), wanted)
    if expression is None:
        raise DomainError(f"unit must be a unit of {kind}, one of {', '.join(accepted(kind))}, got {unit!r}")
    return _to_si(Fraction(1), expression, wanted.si)


def shown_unit(kind: str, system: System) -> str:
    """Return the unit in which a person reads a kind of value.

    Parameters
    ----------
    kind : str
        One of :func:`kinds`.
    system : {"us", "si"}
        Whose units.

    Returns
    -------
    str
        Such as ``lbf/ft``.

    Raises
    ------
    DomainError
        Unknown kind or system.

    Examples
    --------
    >>> shown_unit("sidewall", "si")
    'kN/m'
    """
    return _shown(kind, system)[0]


def shown_value(value: float, kind: str, system: System) -> float:
    """Turn an SI value into the unit in which a person reads it.

    Parameters
    ----------
    value : float
        In SI, as :func:`quantity` returns it.
    kind : str
        One of :func:`kinds`.
    system : {"us", "si"}
        Whose units.

    Returns
    -------
    float
        In the unit of :func:`shown_unit`.

    Raises
    ------
    DomainError
        Unknown kind or system, or a value that is not finite.

    Examples
    --------
    >>> round(shown_value(4448.2216, "force", "us"), 3)
    1000.0
    """
    value = number("value", value)
    unit = _unit(_shown(kind, system)[0], _kind(kind))
    if unit is None:  # the table of units names a unit it does not spell
        raise DomainError(f"kind {kind!r} has no unit in the system {system!r}")
    scale = _scale(unit, _kind(kind).si)
    if scale is not None:
        return value / float(scale)
    return float(_registry().Quantity(Fraction(value), _kind(kind).si).to(unit).magnitude)


def show(value: float, kind: str, system: System, decimals: int | None = None) -> str:
    """Write an SI value for a person to read.

    Parameters
    ----------
    value : float
        In SI, as :func:`quantity` returns it.
    kind : str
        One of :func:`kinds`.
    system : {"us", "si"}
        Whose units.
    decimals : int, optional
        Digits after the point; default by kind.

    Returns
    -------
    str
        Number and unit; US numbers have a comma at the thousands.

    Raises
    ------
    DomainError
        Unknown kind or system, or a value that is not finite.

    Examples
    --------
    >>> show(40034.0, "force", "us")
    '9,000 lbf'
    >>> show(40034.0, "force", "si")
    '40.03 kN'
    """
    unit, usual = _shown(kind, system)
    digits = usual if decimals is None else whole("decimals", decimals, at_least=0)
    shown = round(shown_value(value, kind, system), digits) + 0.0  # no "-0"
    text = f"{shown:,.{digits}f}" if system == "us" else f"{shown:.{digits}f}"
    return f"{text}{'' if unit == '%' else ' '}{unit}"


def gauge_area(gauge: int) -> float:
    r"""Return the cross-section of a solid conductor by American Wire Gauge.

    .. math:: d = 0.005\,\mathrm{in} \cdot 92^{(36 - n) / 39}

    Parameters
    ----------
    gauge : int
        The number n, from -3 (written 4/0) to 40.

    Returns
    -------
    float
        Area. [m2]

    Raises
    ------
    DomainError
        Outside that range.

    References
    ----------
    [astm-b258] in docs/sources.md.

    Examples
    --------
    >>> round(gauge_area(-3) / factor("cmil", "area"), -2)
    211600.0
    """
    mils: float = 5.0 * 92.0 ** ((36 - whole("gauge", gauge, at_least=-3, at_most=40)) / 39)  # -3 is 4/0
    return mils**2 * factor("cmil", "area")


def _kind(kind: str) -> _Kind:
    return _kinds()[one_of("kind", kind, _kinds())]


def _shown(kind: str, system: str) -> tuple[str, int]:
    shown = _kind(kind).shown
    return shown[one_of("system", system, shown)]


def _refused(text: object, kind: str, name: str) -> DomainError:
    comma = " without a comma" if isinstance(text, str) and "," in text else ""
    return DomainError(
        f"{name or kind} must be a number with a unit{comma}, such as {_kind(kind).example!r}, got {text!r}; "
        f"units accepted: {', '.join(accepted(kind))}"
    )


def _number(text: str) -> Fraction | None:
    """Read a decimal number, a fraction or a whole number with a fraction; None for a zero denominator."""
    if "/" not in text:
        return Fraction(text)
    whole, _, fraction = text.replace("-", " ").rpartition(" ")
    over, _, under = fraction.partition("/")
    return None if int(under) == 0 else int(whole or 0) + Fraction(int(over), int(under))


def _compound(text: str, kind: _Kind) -> float | None:
    """Read what takes more than one number: feet and inches, degrees and minutes, wire gauges."""
    if kind.divisor is not None:
        return None
    if kind.of == ("length",) and (match := _FEET_INCHES.fullmatch(text)):
        inches = _number(match["inches"])
        if inches is None or inches >= 12:
            return None
        total = int(match["feet"]) * 12 + inches
        return _to_si(-total if match["sign"] == "-" else total, "inch", kind.si)
    if kind.of == ("angle",) and (match := _DEGREES.fullmatch(text)):
        minutes, seconds = Fraction(match["minutes"]), Fraction(match["seconds"] or 0)
        if minutes >= 60 or seconds >= 60:
            return None
        degrees = int(match["degrees"]) + minutes / 60 + seconds / 3600
        return _to_si(-degrees if match["sign"] == "-" else degrees, "degree", kind.si)
    if kind.of == ("area",) and (match := _GAUGE.fullmatch(text)):
        size = match["a"] or match["b"]
        if size.endswith("/0"):
            count = int(size[0])
            return gauge_area(1 - count) if 1 <= count <= 4 else None
        if set(size) == {"0"}:
            return gauge_area(1 - len(size))
        return gauge_area(int(size)) if int(size) <= 40 else None
    return None


def _unit(text: str, kind: _Kind) -> str | None:
    """Return the registry's expression for a unit as written, or None where the kind does not accept it."""
    text = text.strip().replace("**", "^")
    whole = _spelling(text, kind.of)
    if kind.divisor is None or (whole and kind.of == ("stress",)):
        return whole
    top, slash, bottom = text.partition("/")
    if not slash or "/" in bottom:
        return None
    many = "1"
    if match := _PER_MANY.fullmatch(bottom.strip()):
        many, bottom = match["many"], match["unit"]
    above = _spelling(top, ("force",) if kind.of == ("stress",) else kind.of)
    below = _spelling(bottom, (kind.divisor,))
    return f"({above}) / ({many} * {below})" if above and below else None


def _spelling(text: str, names: tuple[str, ...]) -> str | None:
    text = text.strip()
    text = text[:-1] if text.endswith(".") else text
    for name in names:
        table = _spellings()[name]
        unit = table.get(text) or table.get(text.lower())
        if unit:
            return unit
    return None


@functools.cache
def _scale(unit: str, si: str) -> Fraction | None:
    """How many SI units one ``unit`` is; None for a temperature, whose zero is elsewhere."""
    if si == "degree_Celsius":
        return None
    return Fraction(_registry().parse_expression(unit).to(si).magnitude)


def _to_si(value: Fraction, unit: str, si: str) -> float:
    scale = _scale(unit, si)
    if scale is not None:
        return float(value * scale)
    converted: float = float(_registry().Quantity(value, unit).to(si).magnitude)
    return converted

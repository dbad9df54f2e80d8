"""Units of length, exactly: what one unit of a file is in metres, and every number in reach."""

from __future__ import annotations

import csv
import difflib
from collections.abc import Mapping
from fractions import Fraction
from importlib import resources
from types import MappingProxyType

import numpy as np

from mechanics.errors import FloatArray
from routeio.findings import Finding, InputRefusedError, Where, span_text

#: No drawing of anything on the ground reaches this far from its origin. [m]
FARTHEST = 1e9
#: Rows looked at together.
_BLOCK = 8_192
#: Routes smaller or larger than this are doubtful: common practice, no source. [m]
SMALLEST_ROUTE, LARGEST_ROUTE = 3.0, 300_000.0


def _rows() -> list[dict[str, str]]:
    text = resources.files("routeio").joinpath("data/units.csv").read_text("utf-8")
    return list(csv.DictReader(text.splitlines()))


_ROWS = _rows()

#: Metres in one unit, by the unit's name. The US survey foot and the international foot are different units.
UNITS: Mapping[str, float] = MappingProxyType({row["name"]: float(Fraction(row["metres"])) for row in _ROWS})

#: Name of the unit of each value of a drawing's $INSUNITS that stands for a length on the ground.
DXF_UNITS: Mapping[int, str] = MappingProxyType({int(row["dxf_code"]): row["name"] for row in _ROWS})

_SPELLINGS = {spelling: row["name"] for row in _ROWS for spelling in (row["name"], *row["aliases"].split())}


def unit_named(text: str, key: str = "units", where: Where | None = None) -> str:
    """Return the name in :data:`UNITS` of a unit as a person writes it.

    Parameters
    ----------
    text : str
        Such as ``ft``, ``feet`` or ``US survey foot``.
    key : str, optional
        What the caller calls this value.
    where : Where, optional
        For the refusal.

    Returns
    -------
    str
        A key of :data:`UNITS`.

    Raises
    ------
    InputRefusedError
        ``unknown-unit``, with the units there are.

    Examples
    --------
    >>> unit_named("US survey foot"), unit_named("feet")
    ('us_survey_foot', 'ft')
    """
    spelling = "_".join(text.strip().lower().split())
    if spelling in _SPELLINGS:
        return _SPELLINGS[spelling]
    like = difflib.get_close_matches(spelling, _SPELLINGS, n=1)
    hint = f", perhaps {_SPELLINGS[like[0]]!r}" if like else ""
    raise InputRefusedError(
        "unknown-unit",
        f"{key} must be a unit of length, got {text!r}",
        where,
        f"use one of {', '.join(UNITS)}{hint}",
    )


def unit_of_factor(metres: float) -> str | None:
    """Return the unit that is this many metres, or None.

    Libraries write the survey foot with a dozen digits or so; it differs from the international foot in the sixth.

    Parameters
    ----------
    metres : float
        In one unit. [m]

    Returns
    -------
    str or None
        A key of :data:`UNITS`.

    Examples
    --------
    >>> unit_of_factor(0.304800609601219), unit_of_factor(0.3048), unit_of_factor(0.5)
    ('us_survey_foot', 'ft', None)
    """
    for name, factor in UNITS.items():
        if abs(metres / factor - 1.0) < 1e-9:
            return name
    return None


def bounds(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the least and the greatest of each coordinate.

    Parameters
    ----------
    points : ndarray, shape (n, k)
        At least one.

    Returns
    -------
    low, high : ndarray, shape (k,)
        NaN where any coordinate is.
    """
    # some thousand rows at a time, turned into columns while they are at hand: half the time of column after column
    low, high = [], []
    for k in range(0, len(points), _BLOCK):
        columns = np.ascontiguousarray(points[k : k + _BLOCK].T)
        low.append(columns.min(axis=1))
        high.append(columns.max(axis=1))
    return np.min(low, axis=0), np.max(high, axis=0)


def check_in_reach(values: FloatArray, metres_per_unit: float, where: Where) -> None:
    """Refuse coordinates that are no place on the ground, before any geometry is worked out from them.

    Parameters
    ----------
    values : ndarray
        Coordinates in file units, any shape.
    metres_per_unit : float
        Of the file, or 1 where not yet known. [m]
    where : Where
        Whose numbers they are.

    Raises
    ------
    InputRefusedError
        ``bad-number``: NaN, infinite, or farther than 1e9 m from the origin.
    """
    if not values.size:
        return
    many = values.ndim == 2 and len(values) > 1_000
    low, high = bounds(values) if many else (values.min(), values.max())
    # NaN is neither below nor above anything
    if np.all(low * metres_per_unit > -FARTHEST) and np.all(high * metres_per_unit < FARTHEST):
        return
    good = np.abs(values) * metres_per_unit < FARTHEST  # False for NaN
    if not good.all():
        bad = float(np.asarray(values)[~good].flat[0])
        raise InputRefusedError(
            "bad-number",
            f"a coordinate or size is {bad!r}, which is no place on the ground (limit {FARTHEST:g} m)",
            where,
            "delete or redraw this entity",
        )


def extents_in_units(low: FloatArray, high: FloatArray) -> str:
    """Say how large an extent would be if its numbers were feet, inches, metres or millimetres.

    Parameters
    ----------
    low, high : ndarray, shape (2,)
        Corners. [file units]

    Returns
    -------
    str
        For a person to tell which of them it is.

    Examples
    --------
    >>> extents_in_units(np.array([0.0, 0.0]), np.array([1000.0, 500.0]))
    '305 x 152 m if ft, 25.4 x 12.7 m if in, 1000 x 500 m if m, 1 x 0.5 m if mm'
    """
    width, height = (float(v) for v in high - low)
    return ", ".join(
        f"{width * UNITS[unit]:{_digits(width * UNITS[unit])}} x "
        f"{height * UNITS[unit]:{_digits(height * UNITS[unit])}} m if {unit}"
        for unit in ("ft", "in", "m", "mm")
    )


def doubtful_extent(low: FloatArray, high: FloatArray, where: Where) -> list[Finding]:
    """Say where a route is too small or too large for any route, so that its unit is probably another.

    Parameters
    ----------
    low, high : ndarray, shape (2,)
        Corners. [m]
    where : Where
        The file.

    Returns
    -------
    list of Finding
        ``extent-doubtful``, or nothing.
    """
    size = float(max(high - low))
    if SMALLEST_ROUTE <= size <= LARGEST_ROUTE:
        return []
    return [
        Finding(
            "extent-doubtful",
            "warning",
            f"all ducts and vaults lie within {span_text(size)}: {'small' if size < SMALLEST_ROUTE else 'large'} for a "
            "route, so the unit may be wrong",
            where,
            "check the unit, and state units if the file has it wrong",
        )
    ]


def _digits(value: float) -> str:
    return ".0f" if abs(value) >= 100.0 else ".3g"

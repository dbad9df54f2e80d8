"""How much pulling lubricant, where, and how it gets in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from mechanics.errors import DomainError, number, settle, several, stated, wholes
from mechanics.tables import Entry, Tables, tables_of

LITRES_PER_SQUARE_METRE = 0.733425
"""Base quantity by length times inside diameter: 0.0015 US gallons per foot and inch. Common practice, no source."""
STEEP = math.radians(45.0)
"""Grade from which a run counts as vertical for the choice of lubricant; judgement, no source. [rad]"""
AHEAD = 1.0 / 3.0
"""Share of what is used at the feed that goes ahead of the cable in bags, at most; judgement, no source."""


@dataclass(frozen=True)
class LubricantAt:
    """Lubricant used at one vault.

    Parameters
    ----------
    vault : int or None
        Index of the pass-through vault; None for the feed.
    litres : float
        How much.
    how : str
        Such as ``by hand or pump at the duct mouth`` or ``3 bags of 1.9 L (half a US gallon) of it ahead of the cable``.
    """

    vault: int | None
    litres: float
    how: str


@dataclass(frozen=True)
class LubricantPlan:
    """Lubricant for one pull.

    Parameters
    ----------
    litres : float
        In all.
    at : tuple of LubricantAt
        The split.
    grade : str
        ``regular`` or ``winter``.
    notes : tuple of str
        Assumptions.
    """

    litres: float
    at: tuple[LubricantAt, ...]
    grade: str = "regular"
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Run:
    """What lies between one place where lubricant is added and the next, in the direction of the pull.

    Parameters
    ----------
    lengths, diameters : tuple of float
        Of the stretches of duct, guides left out. [m]
    first_grade : float
        At the mouth where the lubricant goes in, upward positive. [rad]
    steepest_rise : float
        Greatest upward grade anywhere in the run. [rad]

    Raises
    ------
    DomainError
        Names the field, the first bad index and the legal range.
    """

    lengths: tuple[float, ...]
    diameters: tuple[float, ...]
    first_grade: float = 0.0
    steepest_rise: float = 0.0

    def __post_init__(self) -> None:
        settle(
            self,
            "run",
            lengths=stated(_row, at_least=0.0),
            diameters=stated(_row, above=0.0),
            first_grade=number,
            steepest_rise=number,
        )
        if len(self.lengths) != len(self.diameters):
            raise DomainError(
                f"run.lengths and run.diameters must be as many, got {len(self.lengths)} and {len(self.diameters)}"
            )


def _row(name: str, value: object, **bounds: float) -> tuple[float, ...]:
    return tuple(number(f"{name}[{k}]", v, **bounds) for k, v in enumerate(several(name, value, object)))


def base_quantity(length: float, inside_diameter: float, factor: float = 1.0) -> float:
    r"""Return how much lubricant a stretch of duct takes.

    .. math:: Q = 0.733425\, f\, L\, D

    Parameters
    ----------
    length : float
        L, at least 0. [m]
    inside_diameter : float
        D, above 0. [m]
    factor : float, optional
        Difficulty f: above 1 for hard pulls and poor duct, below for easy ones.

    Returns
    -------
    float
        [L]

    Raises
    ------
    DomainError
        Names the argument and the legal range.

    Notes
    -----
    Common practice, no published source: 0.0015 US gallons by length in feet and inside diameter in inches.

    Examples
    --------
    >>> round(base_quantity(100.0, 0.1), 2)
    7.33
    """
    length = number("length", length, at_least=0.0)
    diameter = number("inside_diameter", inside_diameter, above=0.0)
    return LITRES_PER_SQUARE_METRE * number("factor", factor, above=0.0) * length * diameter


def grade_for(temperature: float | None, tables: Tables | None = None) -> tuple[str, str]:
    """Return the grade of lubricant for a temperature.

    Parameters
    ----------
    temperature : float or None
        Of cable and lubricant; None where the job states none. [deg C]
    tables : Tables, optional
        With a user's own rows.

    Returns
    -------
    tuple of str
        The grade that works at that temperature with the least margin, and where that comes from.

    Raises
    ------
    DomainError
        Colder than the coldest grade.

    Examples
    --------
    >>> grade_for(10.0)[0], grade_for(-20.0)[0]
    ('regular', 'winter')
    """
    rows = sorted(tables_of(tables).rows("lubricant"), key=lambda e: -e.number("coldest"))
    if temperature is None:
        return rows[0].key[0], f"temperature not stated: {rows[0].key[0]} grade taken"
    t = number("temperature", temperature, above=-273.15)
    for row in rows:
        if t >= row.number("coldest"):
            return row.key[0], row.source
    raise DomainError(
        f"temperature must be at least {rows[-1].number('coldest'):.1f} degC, the coldest at which any grade of "
        f"lubricant works, got {t!r}"
    )


def bag_for(inside_diameter: float, tables: Tables | None = None) -> Entry | None:
    """Return the bag of lubricant that is pulled ahead of the cable in a duct.

    Parameters
    ----------
    inside_diameter : float
        Of the duct, above 0. [m]
    tables : Tables, optional
        With a user's own rows.

    Returns
    -------
    Entry or None
        With its content [L] and how far it is across [m]; None where no bag passes.

    Raises
    ------
    DomainError
        Not above 0.

    Examples
    --------
    >>> bag_for(0.1).key
    ('half a US gallon',)
    """
    diameter = number("inside_diameter", inside_diameter, above=0.0)
    fitting = [
        e
        for e in tables_of(tables).rows("bags")
        if e.number("across") < diameter < e.number("below_diameter")
        and diameter >= e.number("from_diameter")
    ]
    return max(fitting, key=lambda e: e.number("content"), default=None)


def plan_lubricant(
    runs: Sequence[Run],
    vaults: Sequence[int],
    factor: float = 1.0,
    temperature: float | None = None,
    tables: Tables | None = None,
) -> LubricantPlan:
    """Share lubricant out among the feed, the re-lube vaults and bags ahead of the cable.

    Parameters
    ----------
    runs : sequence of Run
        From the feed, and from each re-lube vault in turn.
    vaults : sequence of int
        Index of each re-lube vault, one fewer than runs.
    factor : float, optional
        Difficulty factor on the quantity.
    temperature : float, optional
        Of cable and lubricant. [deg C]
    tables : Tables, optional
        With a user's own rows.

    Returns
    -------
    LubricantPlan
        Every run's quantity at the place where the run begins.

    Raises
    ------
    DomainError
        Names the argument and the legal range; or colder than the coldest grade.

    Notes
    -----
    Common practice: gel where it has to stay on the cable up a riser, and where it is put on by hand; pourable
    where it can run down into the duct. At the feed up to a third goes ahead in bags.

    Examples
    --------
    >>> plan = plan_lubricant([Run((100.0,), (0.1,))], [])
    >>> round(plan.litres, 2), plan.at[0].how
    (7.33, 'gel, by hand or pump at the duct mouth, 1 bag of 1.9 L (half a US gallon) of it ahead of the cable')
    """
    runs, vaults = several("runs", runs, Run), wholes("vaults", vaults)
    factor = number("factor", factor, above=0.0)
    if len(runs) != len(vaults) + 1:
        raise DomainError(f"runs must be one more than vaults, got {len(runs)} and {len(vaults)}")
    grade, why = grade_for(temperature, tables)
    places = []
    for k, run in enumerate(runs):
        litres = sum(
            base_quantity(length, diameter, factor)
            for length, diameter in zip(run.lengths, run.diameters, strict=True)
        )
        places.append(
            LubricantAt(None if k == 0 else vaults[k - 1], litres, _how(run, litres, k == 0, tables))
        )
    notes = (
        f"Base quantity by length and inside diameter times {factor:g}: common practice, no published source.",
        f"Grade: {why}.",
        "Most of it belongs on the leading end and before the bends; on long pulls put some in from the far end with "
        "the rope.",
    )
    return LubricantPlan(sum(p.litres for p in places), tuple(places), grade, notes)


def _how(run: Run, litres: float, feed: bool, tables: Tables | None) -> str:
    if run.steepest_rise >= STEEP:
        how = "gel (it stays on the cable up the riser), by hand or pump at the duct mouth"
    elif run.first_grade <= -STEEP:
        how = "pourable, through a feed tube or the conduit stub-up"
    else:
        how = "gel, by hand or pump at the duct mouth"
    if not feed or not run.diameters:
        return how
    bag = bag_for(min(run.diameters), tables)
    if bag is None:
        return how
    count = math.floor(AHEAD * litres / bag.number("content"))
    if count < 1:
        return how
    # a name alone, in a unit that not everybody uses, does not say how much
    size = f"{bag.number('content'):.2g} L ({bag.key[0]})"
    return f"{how}, {count} bag{'s' if count > 1 else ''} of {size} of it ahead of the cable"

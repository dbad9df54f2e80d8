"""The other way round: the longest pull from a vault, the tightest bends and the narrowest duct that let a stretch pass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from mechanics.cable import Bundle
from mechanics.errors import DomainError, in_range
from mechanics.pull import PullResult, Rules
from network.changed import part_of, with_sweep, with_vault
from network.reach import RowPulls
from network.row import Row, Stretch

# Distances and radii are found to this. [m]
EXACT = 0.01
# Radii are looked through from the smallest to the largest, each so many times the one before. [m]
_TIGHTEST, _WIDEST, _STEP = 0.25, 60.0, 1.1


@dataclass(frozen=True)
class Longest:
    """The longest pull from a vault in one direction.

    Parameters
    ----------
    feed : int
        Vault of the row.
    reached : int
        Farthest vault that a pull can be made to, the feed itself where none is.
    past : float
        How far beyond that vault it could still be drawn out, were there a vault. [m]
    length : float
        From the feed. [m]
    limit : PullResult or None
        The pull that is longer by a step and fails; None where the row ends first.
    """

    feed: int
    reached: int
    past: float
    length: float
    limit: PullResult | None


@dataclass(frozen=True)
class Smallest:
    """The smallest of something that lets a stretch pass.

    Parameters
    ----------
    value : float or None
        Radius of the centreline or inside diameter; None where none would do. [m]
    result : PullResult or None
        The pull with it, in the direction that passes.
    against : bool
        Whether that is against the row's direction.
    limit : PullResult or None
        The better of the two pulls with the next smaller value; None where that cannot be built.
    """

    value: float | None
    result: PullResult | None
    against: bool
    limit: PullResult | None


def longest_pull(row: Row, bundle: Bundle, rules: Rules, feed: int, against: bool = False) -> Longest:
    """Find the longest pull that is fed at a vault.

    Parameters
    ----------
    row : Row
        Where.
    bundle : Bundle
        What.
    rules : Rules
        By which checks.
    feed : int
        Vault of the row.
    against : bool, optional
        Whether to pull against the row's direction.

    Returns
    -------
    Longest
        Re-lubricated on the way where that helps. A pull longer by :data:`EXACT` fails.

    Raises
    ------
    DomainError
        Not a vault of the row.
    """
    in_range("feed", feed, at_least=0.0, at_most=len(row.spans))
    step, end = (-1, 0) if against else (1, len(row.spans))
    pulls = RowPulls(row, bundle, rules)
    here = feed
    while here != end:
        _, result = pulls.best(feed, here + step)
        if result.verdict != "pass":
            break
        here += step
    length = 0.0 if here == feed else row.length(feed, here)
    if here == end:
        return Longest(feed, here, 0.0, length, None)

    span = min(here, here + step)
    whole = row.spans[span].chain.total_length

    def cut_short(past: float) -> tuple[RowPulls, tuple[int, int]]:
        """The pulls of the row up to a place beyond the vault, and the ends of the one to there."""
        made = with_vault(row, span, whole - past if against else past, "\0")
        low, high = (span + 1, feed + 1) if against else (feed, span + 1)
        part = part_of(made, low, high)
        return RowPulls(part, bundle, rules), (len(part.spans), 0) if against else (0, len(part.spans))

    low, high = 0.0, whole
    limit, stops = result, None
    while high - low > EXACT:
        middle = 0.5 * (low + high)
        pulls, ends = cut_short(middle)
        found, done = pulls.best(*ends)
        if done.verdict == "pass":
            low, length, stops = middle, pulls.row.length(*ends), found
        else:
            high, limit = middle, done
    if stops is not None and high < whole:
        # what fails with the stops that serve up to here
        pulls, ends = cut_short(high)
        limit = pulls.evaluate(*ends, stops)
    return Longest(feed, here, low, length, limit)


def smallest_radius(row: Row, bundle: Bundle, rules: Rules) -> Smallest:
    """Find the tightest sweep that all bends in plan of a row may have for a pull from end to end to pass.

    Parameters
    ----------
    row : Row
        The stretch.
    bundle : Bundle
        What.
    rules : Rules
        By which checks.

    Returns
    -------
    Smallest
        With bends tighter by :data:`EXACT` no pull passes either way. Vertical curves stay as they are.

    Raises
    ------
    DomainError
        No bend in plan.
    """
    bends = [
        (k, int(s)) for k, span in enumerate(row.spans) for s in np.flatnonzero(np.abs(span.chain.turn) > 0.0)
    ]
    if not bends:
        raise DomainError("the stretch has no bend in plan")

    def with_radius(radius: float) -> Row | None:
        swept = row
        try:
            for span, bend in bends:
                swept = with_sweep(swept, span, bend, radius)
        except DomainError:
            return None
        return swept

    def better(radius: float) -> tuple[PullResult, bool] | None:
        swept = with_radius(radius)
        return None if swept is None else _better(swept, bundle, rules)

    low: float | None = None
    found: tuple[PullResult, bool] | None = None
    limit: tuple[PullResult, bool] | None = None
    radius = _TIGHTEST
    while radius <= _WIDEST:
        tried = better(radius)
        if tried is not None and tried[0].verdict == "pass":
            found = tried
            break
        low, limit = radius, tried
        radius *= _STEP
    if found is None:
        return Smallest(None, None, False, None if limit is None else limit[0])
    if low is None:
        return Smallest(radius, found[0], found[1], None)
    while radius - low > EXACT:
        middle = 0.5 * (low + radius)
        tried = better(middle)
        if tried is not None and tried[0].verdict == "pass":
            radius, found = middle, tried
        else:
            low, limit = middle, tried
    return Smallest(radius, found[0], found[1], None if limit is None else limit[0])


def smallest_duct(row: Row, bundle: Bundle, rules: Rules, diameters: Sequence[float]) -> Smallest:
    """Find the narrowest duct with which a pull from end to end of a row passes.

    Parameters
    ----------
    row : Row
        The stretch.
    bundle : Bundle
        What.
    rules : Rules
        By which checks.
    diameters : sequence of float
        Inside diameters to choose from, all ducts of the stretch having the same. [m]

    Returns
    -------
    Smallest
        No narrower one passes either way.
    """
    limit = None
    for diameter in sorted(diameters):
        tried = _better(_lined(row, diameter), bundle, rules)
        if tried[0].verdict == "pass":
            return Smallest(diameter, tried[0], tried[1], limit)
        limit = tried[0]
    return Smallest(None, None, False, limit)


def _better(row: Row, bundle: Bundle, rules: Rules) -> tuple[PullResult, bool]:
    """The pull from end to end in the direction that passes, or in the one that fails by less."""
    pulls, last = RowPulls(row, bundle, rules), len(row.spans)
    ways = [(pulls.best(*ends)[1], against) for ends, against in (((0, last), False), ((last, 0), True))]
    return min(ways, key=lambda way: (way[0].verdict != "pass", way[0].utilisation))


def _lined(row: Row, diameter: float) -> Row:
    """A row with other ducts; guides stay."""

    def lined(stretch: Stretch) -> Stretch:
        bores = (
            b if b.inside_diameter is None else replace(b, inside_diameter=diameter) for b in stretch.bores
        )
        return replace(stretch, bores=tuple(bores))

    return replace(row, spans=tuple(map(lined, row.spans)), crossings=tuple(map(lined, row.crossings)))

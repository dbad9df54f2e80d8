"""A row in which not every section has the same bundle: its pulls, and what that makes of the rules of a plan.

Where the bundle changes a splice must be, so that no section holds two bundles: each part of the row between two changes has
pulls of its own, and a plan chooses among the pulls of all parts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mechanics.cable import Bundle
from mechanics.chain import IntArray
from mechanics.errors import DomainError, FloatArray
from mechanics.pull import PullResult, Rules
from network.changed import part_of
from network.pulls import Offers, PullOption
from network.reach import RowPulls
from network.row import Row
from network.terms import PlanRules, Reel, Stock


@dataclass(frozen=True, eq=False)
class OtherBundle:
    """Another bundle for the sections between two vaults of a row.

    Parameters
    ----------
    first, last : str
        Tags of the vaults, in the row's order.
    bundle : Bundle
        What is pulled there.
    rules : Rules
        By which limits.
    reel : float or None, optional
        Longest cable of it on one reel. [m]
    reels : tuple of Reel, optional
        Sizes that it comes on.
    """

    first: str
    last: str
    bundle: Bundle
    rules: Rules
    reel: float | None = None
    reels: tuple[Reel, ...] = ()


@dataclass(frozen=True, eq=False)
class MixedPulls:
    """The pulls of a row with several bundles; see :class:`network.reach.RowPulls`.

    Parameters
    ----------
    row : Row
        Where.
    bundle : Bundle
        What is pulled where no other bundle is.
    rules : Rules
        By which limits there.
    others : tuple of OtherBundle
        Which do not overlap, in any order.

    Raises
    ------
    DomainError
        A vault that the row has not, one named after its last, two others that overlap.
    """

    row: Row
    bundle: Bundle
    rules: Rules
    others: tuple[OtherBundle, ...]

    def __post_init__(self) -> None:
        spans = _spans([v.tag for v in self.row.vaults], self.others)
        for (_, high, one), (low, _, other) in pairwise(spans):
            if low < high:
                raise DomainError(
                    f"other bundles must not overlap, got {one.first} to {one.last} and {other.first} to {other.last}"
                )

    def evaluate(self, feed: int, pull: int, relube: tuple[int, ...] = ()) -> PullResult:
        """Evaluate one pull within a part; see :meth:`network.reach.RowPulls.evaluate`."""
        low, own = self._own(feed, pull)
        return own.evaluate(feed - low, pull - low, tuple(v - low for v in relube))

    def best(self, feed: int, pull: int) -> tuple[tuple[int, ...], PullResult]:
        """Return the best re-lube vaults of a pull within a part; see :meth:`network.reach.RowPulls.best`."""
        low, own = self._own(feed, pull)
        relube, result = own.best(feed - low, pull - low)
        return tuple(v + low for v in relube), result

    def offers(self) -> Offers:
        """Return all feasible pulls of all parts, for :func:`network.plan.plan_row`.

        Returns
        -------
        Offers
            Settled only where the planner asks.
        """
        return _Joined([(low, own.offers()) for low, _, own in self.parts])

    def on(self, row: Row) -> MixedPulls:
        """Return the pulls of a changed row, whose vaults where a bundle changes are still there."""
        return replace(self, row=row)

    def ruled(self, change: Callable[[Rules], Rules], at: int | None = None) -> MixedPulls:
        """Return the pulls judged by changed rules: all of them, or those of the part that goes on from vault ``at``."""
        tags = [v.tag for v in self.row.vaults]
        others = []
        elsewhere = False
        for low, high, other in _spans(tags, self.others):
            here = at is None or low <= at < high
            elsewhere = elsewhere or (at is not None and here)
            others.append(replace(other, rules=change(other.rules)) if here else other)
        return replace(self, rules=self.rules if elsewhere else change(self.rules), others=tuple(others))

    def between(self, low: int, high: int) -> RowPulls:
        """Return the pulls of a stretch that lies within a part, with numbers from 0."""
        first, own = self._own(low, high)
        return RowPulls(part_of(own.row, low - first, high - first), own.bundle, own.rules)

    def part(self, low: int, high: int) -> RowPulls | MixedPulls:
        """Return the pulls of any stretch, with numbers from 0."""
        inside = [k for k in self.changes if low < k < high]
        if not inside:
            return self.between(low, high)
        tags = [v.tag for v in self.row.vaults]
        others = tuple(
            replace(other, first=tags[max(a, low)], last=tags[min(b, high)])
            for a, b, other in _spans(tags, self.others)
            if max(a, low) < min(b, high)
        )
        return replace(self, row=part_of(self.row, low, high), others=others)

    @cached_property
    def changes(self) -> tuple[int, ...]:
        """Vaults of the row at which the bundle changes."""
        return tuple(low for low, _, _ in self.parts[1:])

    @cached_property
    def parts(self) -> tuple[tuple[int, int, RowPulls], ...]:
        """First vault, last vault and pulls of each part, in the row's order."""
        here, found = 0, []
        for low, high, other in _spans([v.tag for v in self.row.vaults], self.others):
            found += [(here, low, None), (low, high, other)]
            here = high
        found.append((here, len(self.row.spans), None))
        return tuple(
            (
                low,
                high,
                RowPulls(part_of(self.row, low, high), self.bundle, self.rules)
                if other is None
                else RowPulls(part_of(self.row, low, high), other.bundle, other.rules),
            )
            for low, high, other in found
            if low < high
        )

    def _own(self, one: int, another: int) -> tuple[int, RowPulls]:
        """The part between whose ends two vaults lie, by its first vault and its pulls."""
        for low, high, own in self.parts:
            if low <= min(one, another) and max(one, another) <= high:
                return low, own
        tags = [v.tag for v in self.row.vaults]
        changes = ", ".join(tags[k] for k in self.changes)
        raise DomainError(
            f"no cable runs from {tags[one]} to {tags[another]}: the bundle changes at {changes} of this row"
        )


Pulls = RowPulls | MixedPulls
"""The pulls of a row, with one bundle or with several."""


def pulls_of(row: Row, bundle: Bundle, rules: Rules, others: Sequence[OtherBundle] = ()) -> Pulls:
    """Return the pulls of a row.

    Parameters
    ----------
    row : Row
        Where.
    bundle : Bundle
        What.
    rules : Rules
        By which limits.
    others : sequence of OtherBundle, optional
        What else is pulled, and where.

    Returns
    -------
    RowPulls or MixedPulls
        The former where nothing else is.

    Raises
    ------
    DomainError
        As :class:`MixedPulls`.
    """
    return MixedPulls(row, bundle, rules, tuple(others)) if others else RowPulls(row, bundle, rules)


def with_others(rules: PlanRules, tags: Sequence[str], others: Sequence[OtherBundle]) -> PlanRules:
    """Return the rules of a plan with a splice wherever the bundle changes, and the reels of each bundle.

    Parameters
    ----------
    rules : PlanRules
        Of the first bundle.
    tags : sequence of str
        The row's vaults.
    others : sequence of OtherBundle
        Which do not overlap.

    Returns
    -------
    PlanRules
        Itself where there is no other bundle.
    """
    if not others:
        return rules
    inner = tags[1:-1]
    changes = [t for o in others for t in (o.first, o.last) if t in inner]
    return replace(
        rules,
        splice_at=tuple(dict.fromkeys((*rules.splice_at, *changes))),
        stocks=tuple(Stock(o.first, o.last, o.reel, o.reels) for o in others),
    )


def _spans(tags: Sequence[str], others: Sequence[OtherBundle]) -> list[tuple[int, int, OtherBundle]]:
    """Where each other bundle begins and ends, in the row's order."""
    number = {tag: k for k, tag in enumerate(tags)}
    unknown = sorted({t for o in others for t in (o.first, o.last)} - number.keys())
    if unknown:
        raise DomainError(f"other bundles must be between vaults of the row, got {', '.join(unknown)}")
    turned = [o for o in others if not number[o.first] < number[o.last]]
    if turned:
        raise DomainError(
            f"another bundle must end at a later vault than it begins at, got {turned[0].first} to {turned[0].last}"
        )
    return sorted(((number[o.first], number[o.last], o) for o in others), key=lambda one: one[:2])


class _Joined:
    """Offers of the parts of a row, one after another; see :class:`network.pulls.Offers`."""

    def __init__(self, parts: Sequence[tuple[int, Offers]]) -> None:
        self._parts = parts
        sizes = [own.start.size for _, own in parts]
        # Which part each offer is of, and which of its offers it is.
        self._part = np.tile(np.repeat(np.arange(len(parts)), sizes), 2)
        self._own = self._both([np.arange(2 * size) for size in sizes])
        self.start: IntArray = np.concatenate([own.start + low for low, own in parts])
        self.end: IntArray = np.concatenate([own.end + low for low, own in parts])
        self.climb: FloatArray = self._both([own.climb for _, own in parts])
        self.exact = all(own.exact for _, own in parts)

    @property
    def stops(self) -> IntArray:
        return self._both([own.stops for _, own in self._parts])

    def settle(self, rows: IntArray, stops_free: bool) -> FloatArray:
        used = np.empty(rows.size)
        for k, (_, own) in enumerate(self._parts):
            which = np.flatnonzero(self._part[rows] == k)
            used[which] = own.settle(self._own[rows[which]], stops_free)
        return used

    def chosen(self, rows: IntArray, most: float, stops_free: bool) -> list[PullOption]:
        found = []
        for row in rows.tolist():
            low, own = self._parts[self._part[row]]
            found += [o.moved(low) for o in own.chosen(self._own[[row]], most, stops_free)]
        return found

    def by_stops(self, row: int) -> Iterator[PullOption]:
        low, own = self._parts[self._part[row]]
        return (option.moved(low) for option in own.by_stops(int(self._own[row])))

    @staticmethod
    def _both(values: Sequence[NDArray[Any]]) -> NDArray[Any]:
        """Values of all parts, those of the pulls in the row's direction first."""
        return np.concatenate([v.reshape(2, -1) for v in values], axis=1).ravel()

"""The row: a feeder's vaults in line, with the spans between them and the crossings through each, ready to slice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import Chain, IntArray
from mechanics.errors import DomainError, FloatArray
from mechanics.track import Bore, Track


@dataclass(frozen=True)
class RowVault:
    """A vault in the row.

    Parameters
    ----------
    tag : str
        Unique.
    splice, feed, pull : bool
        What is allowed there; the ends of the row are never asked for ``splice``.
    relube : bool
        Whether a cable that passes can be lubricated there.
    price : float
        Of the vault itself, charged where a section ends there; 0 for one that stands. One that has a price is of use
        nowhere else: no section is fed there between its ends.
    """

    tag: str
    splice: bool = True
    feed: bool = True
    pull: bool = True
    relube: bool = True
    price: float = 0.0


@dataclass(frozen=True)
class RowFacts:
    """What the planner knows of a row, besides its pulls.

    Parameters
    ----------
    vaults : tuple of RowVault
        In order, with what is allowed at each.
    arrive, depart : tuple of float
        Station at which the row arrives at each vault and leaves it again; between them lies the crossing. [m]
    """

    vaults: tuple[RowVault, ...]
    arrive: tuple[float, ...]
    depart: tuple[float, ...]

    def length(self, low: int, high: int) -> float:
        """Route length between two vaults, crossings between them included. [m]"""
        return self.arrive[high] - self.depart[low]

    def lengths(self, low: IntArray, high: IntArray) -> FloatArray:
        """Route lengths between many vaults; see :meth:`length`. [m]"""
        return np.asarray(self.stations[0][high] - self.stations[1][low])

    @cached_property
    def stations(self) -> tuple[FloatArray, FloatArray]:
        """``arrive`` and ``depart`` as arrays. [m]"""
        return np.array(self.arrive), np.array(self.depart)

    @cached_property
    def prices(self) -> FloatArray:
        """Price of each vault."""
        return np.array([v.price for v in self.vaults], dtype=np.float64)

    @cached_property
    def allowed(self) -> dict[str, NDArray[np.bool_]]:
        """At which vaults ``splice``, ``feed`` and ``pull`` are allowed by what the vaults say."""
        return {
            what: np.array([getattr(v, what) for v in self.vaults], dtype=np.bool_)
            for what in ("splice", "feed", "pull")
        }


@dataclass(frozen=True, eq=False)
class Stretch:
    """Segments with their bores: one span, one crossing of a vault, or the guides at one end of a pull.

    Parameters
    ----------
    chain : Chain
        One chain, may be empty.
    bores : tuple of Bore
        One a segment.
    ids : tuple of str, optional
        One a segment: the duct's id and, where it differs, the handle the segment came from.
    how : tuple of str, optional
        One a segment: ``drawn``, ``fitted``, ``swept`` or ``stated`` as in :class:`routeio.survey.Origin`,
        ``guide``, or ``vault`` for the cable's way across a vault between guides.
    """

    chain: Chain
    bores: tuple[Bore, ...]
    ids: tuple[str, ...] = ()
    how: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        n = len(self.chain)
        for name, values in (("bores", self.bores), ("ids", self.ids), ("how", self.how)):
            if len(values) != n and (values or name == "bores"):
                raise DomainError(f"{name} must have one element for each of {n} segments, got {len(values)}")

    def reversed(self) -> Stretch:
        """Return the same segments travelled the other way."""
        return Stretch(self.chain.reversed(), self.bores[::-1], self.ids[::-1], self.how[::-1])

    @staticmethod
    def joined(stretches: Sequence[Stretch]) -> Stretch:
        """Return all segments of ``stretches`` end to end; ids and how are padded with empty text where missing."""
        return Stretch(
            Chain.joined([s.chain for s in stretches]),
            tuple(b for s in stretches for b in s.bores),
            tuple(i for s in stretches for i in s.ids or ("",) * len(s.chain)),
            tuple(h for s in stretches for h in s.how or ("",) * len(s.chain)),
        )


@dataclass(frozen=True, eq=False)
class Row:
    """Vaults v0 ... vn, n spans, n - 1 crossings.

    Parameters
    ----------
    vaults : tuple of RowVault
        n + 1 of them.
    spans : tuple of Stretch
        ``spans[k]`` runs from vault k to vault k + 1; none is empty.
    crossings : tuple of Stretch
        ``crossings[k]`` lies at vault k + 1; empty chain where the ducts meet face to face.
    feed_guide, pull_guide : Stretch, optional
        Guides at the feed and pull vaults where the job states them, in the direction of the pull.

    Raises
    ------
    DomainError
        Counts that do not fit together, an empty span, a tag that stands twice, end guides that are none.
    """

    vaults: tuple[RowVault, ...]
    spans: tuple[Stretch, ...]
    crossings: tuple[Stretch, ...]
    feed_guide: Stretch | None = None
    pull_guide: Stretch | None = None

    def __post_init__(self) -> None:
        n = len(self.spans)
        if n < 1 or len(self.vaults) != n + 1 or len(self.crossings) != n - 1:
            raise DomainError(
                f"a row of n spans needs n + 1 vaults and n - 1 crossings, n at least 1: got {n} spans,"
                f" {len(self.vaults)} vaults and {len(self.crossings)} crossings"
            )
        if len({v.tag for v in self.vaults}) <= n:
            raise DomainError("vault tags must be unique in a row")
        for k, span in enumerate(self.spans):
            if not len(span.chain) > 0:
                raise DomainError(f"spans[{k}] must not be empty")
        for name in ("feed_guide", "pull_guide"):
            guide = getattr(self, name)
            if guide is not None and not all(b.guide for b in guide.bores):
                raise DomainError(f"{name} must be on guides, which do not wear the lubricant off")

    @cached_property
    def line(self) -> Track:
        """The whole row from v0 to vn as one track, every vault between them a pass-through vault, no end guides."""
        stretches = self._stretches
        bores: dict[Bore, int] = {}
        known: dict[int, int] = {}
        index = [
            known.setdefault(id(b), bores.setdefault(b, len(bores))) if id(b) not in known else known[id(b)]
            for s in stretches
            for b in s.bores
        ]
        bounds = self._bounds
        return Track(
            Chain.joined([s.chain for s in stretches]),
            np.array(index, dtype=np.int64),
            tuple(bores),
            tuple((int(bounds[2 * k - 1]), int(bounds[2 * k])) for k in range(1, len(self.spans))),
            tuple(v.tag for v in self.vaults[1:-1]),
        )

    @property
    def first(self) -> IntArray:
        """Segment of :attr:`line` with which each span begins, shape (n,)."""
        return self._bounds[:-1:2]

    @property
    def last(self) -> IntArray:
        """Segment of :attr:`line` before which each span ends, shape (n,)."""
        return self._bounds[1::2]

    @cached_property
    def facts(self) -> RowFacts:
        """What the planner needs to know of this row besides its pulls."""
        station = np.concatenate(([0.0], self.line.chain.station))
        arrive = (0.0, *(float(s) for s in station[self.last]))
        depart = (*(float(s) for s in station[self.first]), arrive[-1])
        return RowFacts(self.vaults, arrive, depart)

    def track(self, feed: int, pull: int) -> Track:
        """Return the track of one pull, with the guides at its ends.

        Parameters
        ----------
        feed, pull : int
            Vaults of the row; ``feed`` above ``pull`` is a pull against the row's direction.

        Returns
        -------
        Track
            In the direction of the pull.

        Raises
        ------
        DomainError
            Not two different vaults of the row.
        """
        low, high = self._ends(feed, pull)
        line = self.line
        start, stop = int(self.first[low]), int(self.last[high - 1])
        part = Track(
            line.chain.part(start, stop),
            line.bore[start:stop],
            line.bores,
            tuple((a - start, b - start) for a, b in line.vaults[low : high - 1]),
            line.tags[low : high - 1],
        )
        return self._guided(part if feed < pull else part.reversed())

    def segments(self, feed: int, pull: int) -> Stretch:
        """Return the same segments as :meth:`track`, one for one, with where each came from.

        Parameters
        ----------
        feed, pull : int
            Vaults of the row, as in :meth:`track`.

        Returns
        -------
        Stretch
            In the direction of the pull.

        Raises
        ------
        DomainError
            Not two different vaults of the row.
        """
        low, high = self._ends(feed, pull)
        part = Stretch.joined(self._stretches[2 * low : 2 * high - 1])
        guides = [self.feed_guide], [self.pull_guide]
        whole = [*guides[0], part if feed < pull else part.reversed(), *guides[1]]
        return Stretch.joined([s for s in whole if s is not None])

    def length(self, low: int, high: int) -> float:
        """Route length between two vaults, crossings between them included, those at the two left out.

        Parameters
        ----------
        low, high : int
            Vaults of the row, in either order.

        Returns
        -------
        float
            [m]

        Raises
        ------
        DomainError
            Not two different vaults of the row.
        """
        return self.facts.length(*self._ends(low, high))

    def climb(self, feed: int, pull: int) -> float:
        """Sum of the rises between two vaults in the direction of the pull, guides at its ends left out.

        Parameters
        ----------
        feed, pull : int
            Vaults of the row.

        Returns
        -------
        float
            [m]

        Raises
        ------
        DomainError
            Not two different vaults of the row.
        """
        self._ends(feed, pull)
        return float(self.climbs(np.array([feed]), np.array([pull]))[0])

    def climbs(self, feed: IntArray, pull: IntArray) -> FloatArray:
        """Sum of the rises of many pulls; see :meth:`climb`.

        Parameters
        ----------
        feed, pull : ndarray of int, shape (n,)
            Vaults of the row, two different ones each.

        Returns
        -------
        ndarray, shape (n,)
            [m]
        """
        on, back = self._rises
        if not (on[-1] > 0.0 or back[-1] > 0.0):
            return np.zeros(feed.size)
        first, last = self.first[np.minimum(feed, pull)], self.last[np.maximum(feed, pull) - 1]
        return np.asarray(np.where(feed < pull, on[last] - on[first], back[last] - back[first]))

    @cached_property
    def _stretches(self) -> tuple[Stretch, ...]:
        """Spans and crossings in turn: span k is number 2k."""
        between = zip(self.crossings, self.spans[1:], strict=True)
        return (self.spans[0], *(s for pair in between for s in pair))

    @cached_property
    def _bounds(self) -> IntArray:
        counts = np.array([len(s.chain) for s in self._stretches], dtype=np.int64)
        return np.concatenate(([0], np.cumsum(counts))).astype(np.int64)

    @cached_property
    def _rises(self) -> tuple[FloatArray, FloatArray]:
        """Rises before each segment of the line, in the row's direction and against it. [m]"""
        chain = self.line.chain
        return tuple(  # type: ignore[return-value]
            np.concatenate(
                ([0.0], np.cumsum(_rise(chain.length, sign * chain.grade_in, sign * chain.grade_out)))
            )
            for sign in (1.0, -1.0)
        )

    def _ends(self, feed: int, pull: int) -> tuple[int, int]:
        last = len(self.spans)
        if feed == pull or not (0 <= feed <= last and 0 <= pull <= last):
            raise DomainError(
                f"feed and pull must be two different vaults from 0 to {last}, got {feed} and {pull}"
            )
        return min(feed, pull), max(feed, pull)

    def _guided(self, track: Track) -> Track:
        """Put the guides at the feed before a track and those at the pull vault behind it."""
        if self.feed_guide is None and self.pull_guide is None:
            return track
        bores = {bore: k for k, bore in enumerate(track.bores)}
        before = self.feed_guide or _NOTHING
        behind = self.pull_guide or _NOTHING
        index = [
            np.array([bores.setdefault(b, len(bores)) for b in guide.bores], dtype=np.int64)
            for guide in (before, behind)
        ]
        shift = len(before.chain)
        return Track(
            Chain.joined([before.chain, track.chain, behind.chain]),
            np.concatenate((index[0], track.bore, index[1])),
            tuple(bores),
            tuple((a + shift, b + shift) for a, b in track.vaults),
            track.tags,
        )


_NOTHING = Stretch(Chain([], [], [], []), ())


def _rise(length: FloatArray, grade_in: FloatArray, grade_out: FloatArray) -> FloatArray:
    """Rise of each segment, falls left out: the integral of sin g along it where g is above 0."""
    change = grade_out - grade_in
    # The integral of max(sin g, 0) over g; differences of it cancel where the grade hardly changes.
    part = [1.0 - np.cos(np.maximum(g, 0.0)) for g in (grade_in, grade_out)]
    steady = np.abs(change) < 1e-6
    mean = np.maximum(np.sin((grade_in + grade_out) / 2.0), 0.0)
    rate = np.divide(part[1] - part[0], change, out=mean, where=~steady)
    return np.asarray(length * rate)

"""A row in one direction of pull with a bundle in it: what holds for every pull that way, whatever its ends."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from mechanics.cable import Bundle
from mechanics.chain import Chain, IntArray
from mechanics.contact import FrictionLike, PressedFriction
from mechanics.errors import FloatArray
from mechanics.friction import prepare, worn
from mechanics.interval import pick_friction
from mechanics.limits import binds, sidewall_cap, tension_caps
from mechanics.peaks import steep
from mechanics.pull import Rules
from mechanics.setting import Setting, set_up
from mechanics.track import Bore, Friction, Track
from network.row import Row

# Stands in for what a cable has slid through before the stretch looked at: as long as need be, of steady friction.
_BEFORE = Bore(1.0, Friction(1.0), label="slid before")
# Stretches laid out together: few enough for memory.
_FRESH_AT_ONCE = 4096


@dataclass(frozen=True, eq=False)
class Pieces:
    """Stretches of a way, side by side, cut so finely that one friction coefficient serves for each piece.

    Parameters
    ----------
    chain : Chain
        One chain a stretch.
    segment : ndarray of int, shape (n,)
        Segment of the way that each piece belongs to.
    item : ndarray of int, shape (n,)
        Which element of the segments asked for each piece belongs to.
    rubbing : ndarray of shape (n,) or PressedFriction
        Weight correction times friction coefficient.
    """

    chain: Chain
    segment: IntArray
    item: IntArray
    rubbing: FrictionLike


class Way:
    """A row in one direction of pull.

    Vaults are numbered from 0 in this direction. The segments are those of the row's line, then the guides at a feed
    vault, then those at a pull vault.

    Parameters
    ----------
    row : Row
        Where.
    bundle : Bundle
        What.
    rules : Rules
        By which limits.
    against : bool
        Whether pulls run against the row's direction.
    other : Way, optional
        The same row with the same bundle the other way: what holds either way is taken from it.
    """

    def __init__(
        self, row: Row, bundle: Bundle, rules: Rules, against: bool, other: Way | None = None
    ) -> None:
        self.row, self.bundle, self.rules, self.against, self._other = row, bundle, rules, against, other
        n = len(row.line.chain)
        self.first, self.last = (
            (n - row.last[::-1], n - row.first[::-1]) if against else (row.first, row.last)
        )
        self._guides = [g for g in (row.feed_guide, row.pull_guide) if g is not None]
        ends = n + (0 if row.feed_guide is None else len(row.feed_guide.chain))
        self.before = np.arange(n, ends)
        self.behind = np.arange(ends, n + sum(len(g.chain) for g in self._guides))
        self._vaults = row.vaults[::-1] if against else row.vaults
        self.ages = any(
            not b.guide and b.friction.hold is not None and (b.friction.dry or 0.0) > b.friction.lubricated
            for b in row.line.bores
        )

    @cached_property
    def track(self) -> Track:
        """The segments and what the cable slides on in each."""
        line = self.row.line
        chain, bore = line.chain, line.bore
        if self.against:
            chain, bore = chain.reversed(), bore[::-1]
        if not self._guides:
            return Track(chain, bore, line.bores)
        bores = {bore: k for k, bore in enumerate(line.bores)}
        extra = [bores.setdefault(b, len(bores)) for guide in self._guides for b in guide.bores]
        chain = Chain.joined([chain, *(g.chain for g in self._guides)])
        return Track(chain, np.concatenate((bore, np.array(extra, dtype=np.int64))), tuple(bores))

    @cached_property
    def _turned(self) -> IntArray | slice:
        """Where each segment of this way, and before it of its like, stands in the other."""
        n, all_ = int(self.last[-1]), len(self.track.chain)
        return slice(None, None, -1) if all_ == n else np.append(np.arange(n)[::-1], np.arange(n, all_))

    @cached_property
    def setting(self) -> Setting:
        """The bundle along the segments."""
        if self._other is not None:
            return self._other.setting.along(self.track, self._turned)
        return set_up(self.track, self.bundle, self.rules)

    @property
    def weight(self) -> FloatArray:
        """Of the bundle on each segment. [N/m]"""
        return self.setting.weight

    @cached_property
    def cap(self) -> float:
        """Most tension that the cables bear anywhere. [N]"""
        caps = [c.limit for c in tension_caps(self.bundle, self.rules) if binds(c.name, self.rules, True)]
        return min(caps, default=np.inf)

    @cached_property
    def press(self) -> FloatArray:
        """Part of the sidewall limit that a newton of tension takes in each segment. [1/N]"""
        if self._other is not None:
            return self._other.press[self._turned]
        pressed = sidewall_cap(self.bundle, self.rules)
        limit = pressed.limit if binds(pressed.name, self.rules, True) else np.inf
        press = self.setting.factor * self.setting.inside_curvature
        press /= limit
        return press

    @cached_property
    def upper(self) -> FloatArray:
        """Most tension allowed in each segment. [N]"""
        if self._other is not None:
            return self._other.upper[self._turned]
        with np.errstate(divide="ignore"):
            upper = 1.0 / self.press
        return np.minimum(self.cap, upper, out=upper)

    @cached_property
    def level(self) -> bool:
        """Whether no segment rises or falls."""
        if self._other is not None:
            return self._other.level
        return not (self.track.chain.grade_in.any() or self.track.chain.grade_out.any())

    @cached_property
    def falls(self) -> bool:
        """Whether any segment falls: where none does, a cable is taut from any entry tension, and more friction is more tension."""
        chain = self.track.chain
        return not self.level and bool(np.any(chain.grade_in < 0.0) or np.any(chain.grade_out < 0.0))

    @cached_property
    def slips(self) -> bool:
        """Whether anything is so steep that the cable slides by itself: else it stays taut from any entry tension."""
        if not self.falls:
            return False
        least = [min(b.friction.lubricated, b.friction.pressed or np.inf) for b in self.track.bores]
        rub = self.setting.correction * np.array(least)[self.track.bore]
        return bool(steep(self.track.chain, rub).any())

    @cached_property
    def tags(self) -> tuple[str, ...]:
        """Tag of each vault."""
        return tuple(v.tag for v in self._vaults)

    @cached_property
    def lubes(self) -> NDArray[np.bool_]:
        """At which vaults a cable that passes can be lubricated."""
        return np.array([v.relube for v in self._vaults])

    @cached_property
    def slid(self) -> FloatArray:
        """What a cable slides before each segment of the line, and before the line's end. [m]"""
        n = int(self.last[-1])
        ages = np.where(self.setting.guide[:n], 0.0, self.track.chain.length[:n])
        return np.concatenate(([0.0], np.cumsum(ages)))

    @property
    def spans(self) -> int:
        """Number of spans."""
        return int(self.first.size)

    def vault(self, index: int) -> int:
        """Return the row's number of a vault of this way, or the other way about."""
        return self.spans - index if self.against else index

    def numbered(self, vaults: IntArray) -> IntArray:
        """Return this way's numbers of vaults of the row."""
        return self.spans - vaults if self.against else vaults

    def lay_out(
        self, segments: IntArray, offsets: IntArray, fresh: IntArray, slid: FloatArray | None = None
    ) -> Pieces:
        """Return stretches side by side, cut for friction.

        Parameters
        ----------
        segments : ndarray of int, shape (k,)
            Segments of all stretches, one stretch after another.
        offsets : ndarray of int, shape (m + 1,)
            Stretch j is ``segments[offsets[j]:offsets[j + 1]]``; none is empty.
        fresh : ndarray of int
            Places in ``segments`` from which on the cable is freshly lubricated; every start of a stretch is one.
        slid : ndarray, shape (m,), optional
            What the cable has slid since its last lubrication at the start of each stretch; 0 by default. [m]

        Returns
        -------
        Pieces
            The same pieces with the same coefficients as the pulls they are part of.
        """
        if not self.ages:
            whole = self.whole
            chain, rubbing = whole.chain, pick_friction(whole.rubbing, segments)
            laid = Chain(
                chain.length[segments],
                chain.grade_in[segments],
                chain.grade_out[segments],
                chain.turn[segments],
                offsets,
            )
            return Pieces(laid, segments, np.arange(segments.size), rubbing)
        bounds = np.append(np.arange(0, offsets.size - 1, _FRESH_AT_ONCE), offsets.size - 1)
        parts = []
        for low, high in pairwise(bounds):
            begin, end = offsets[low], offsets[high]
            own = fresh[(fresh >= begin) & (fresh < end)] - begin
            ahead = None if slid is None else slid[low:high]
            part = self._laid(segments[begin:end], offsets[low : high + 1] - begin, own, ahead)
            parts.append((part, begin))
        return Pieces(
            Chain.ragged([p.chain for p, _ in parts]),
            np.concatenate([p.segment for p, _ in parts]),
            np.concatenate([p.item + begin for p, begin in parts]),
            _joined([p.rubbing for p, _ in parts]),
        )

    @cached_property
    def whole(self) -> Pieces:
        """The whole way where no friction changes on it: each segment is one piece."""
        if self._other is not None and not (self.before.size or self.behind.size):
            back = self._other.whole
            chain = self.track.chain if back.chain is self._other.track.chain else back.chain.reversed()
            return Pieces(chain, back.segment, back.item, pick_friction(back.rubbing, self._turned))
        track, setting = self.track, self.setting
        if not any(b.waviness for b in track.bores):
            # One segment of each bore tells the coefficients of all.
            unit = np.ones(len(track.bores))
            each = prepare(
                Track(Chain(unit, 0.0 * unit, 0.0 * unit, 0.0 * unit), np.arange(unit.size), track.bores)
            )
            if not np.isfinite(each.press_force).any():  # no coefficient depends on the contact force
                own = np.arange(track.bore.size)
                return Pieces(track.chain, own, own, setting.correction * each.friction.take(track.bore))
            laws = replace(
                each,
                chain=track.chain,
                source_segment=np.arange(track.bore.size),
                friction=each.friction[track.bore],
                pressed=each.pressed[track.bore],
                press_force=each.press_force[track.bore],
            )
            rubbing = laws.rubbing(setting.correction, setting.share)
            return Pieces(track.chain, laws.source_segment, laws.source_segment, rubbing)
        prepared = prepare(self.track)
        rubbing = prepared.rubbing(self.setting.correction, self.setting.share)
        return Pieces(prepared.chain, prepared.source_segment, prepared.source_segment, rubbing)

    def _laid(
        self, segments: IntArray, offsets: IntArray, fresh: IntArray, slid: FloatArray | None
    ) -> Pieces:
        """Lay stretches end to end as one track, each preceded by what the cable slid before, and cut that."""
        item = np.arange(segments.size)
        ahead = np.zeros(0, dtype=np.int64) if slid is None else np.flatnonzero(slid > 0.0)
        place = offsets[:-1][ahead]
        item = np.insert(item, place, -1)
        shown = np.where(item < 0, 0, segments[item]) if segments.size else item
        own = self.track.chain
        length, grade_in, grade_out, turn = (
            np.where(item < 0, 0.0, values[shown])
            for values in (own.length, own.grade_in, own.grade_out, own.turn)
        )
        if slid is not None:
            length[item < 0] = slid[ahead]
        # A stretch that something was slid before begins with that.
        starts = fresh + np.searchsorted(place, fresh, side="left")
        track = Track(
            Chain(length, grade_in, grade_out, turn),
            np.where(item < 0, len(self.track.bores), self.track.bore[shown]),
            (*self.track.bores, _BEFORE),
        )
        prepared = worn(track, starts)
        at = item[prepared.source_segment]
        keep = np.flatnonzero(at >= 0)
        at, cut = at[keep], prepared.chain
        segment = segments[at]
        rubbing = prepared.rubbing(
            np.append(self.setting.correction, 1.0)[np.where(item < 0, -1, shown)][prepared.source_segment],
            np.append(self.setting.share, 1.0)[np.where(item < 0, -1, shown)][prepared.source_segment],
        )
        chain = Chain(
            cut.length[keep],
            cut.grade_in[keep],
            cut.grade_out[keep],
            cut.turn[keep],
            np.searchsorted(at, offsets),
        )
        return Pieces(chain, segment, at, pick_friction(rubbing, keep))


def spread(begin: IntArray, end: IntArray) -> IntArray:
    """Return all whole numbers from each beginning up to its end, one range after another.

    Parameters
    ----------
    begin, end : ndarray of int, shape (m,)
        Ends are left out, and never below beginnings.

    Returns
    -------
    ndarray of int
        As many as the ranges are long together.

    Examples
    --------
    >>> spread(np.array([5, 0]), np.array([7, 3])).tolist()
    [5, 6, 0, 1, 2]
    """
    count = end - begin
    return np.repeat(begin - np.cumsum(count) + count, count) + np.arange(int(count.sum()))


def _joined(parts: list[FrictionLike]) -> FrictionLike:
    """Friction of several lots of pieces, one after another."""
    if not any(isinstance(p, PressedFriction) for p in parts):
        return np.concatenate([np.asarray(p) for p in parts])
    light = [np.asarray(p.light if isinstance(p, PressedFriction) else p) for p in parts]
    pressed = [np.asarray(p.pressed if isinstance(p, PressedFriction) else p) for p in parts]
    force = [
        np.asarray(p.force) if isinstance(p, PressedFriction) else np.ones(a.size)
        for p, a in zip(parts, light, strict=True)
    ]
    return PressedFriction(np.concatenate(light), np.concatenate(pressed), np.concatenate(force))

"""The greatest tension inside a curve, where it is level: what friction adds, the fall of the way takes off."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from tautline.explain_piece import FLAT, Piece, Worked, number
from tautline.explain_segment import work

_PARTS = 32  # a curve is looked at so many times for where the tension begins to fall
_HALVINGS = 40


@dataclass(frozen=True)
class Level:
    """A place inside a curve where the tension is greatest.

    Parameters
    ----------
    piece : Piece
        The curve as far as there.
    entering : float
        Tension at its start, in the page's unit.
    worked : Worked
        With the tension there.
    """

    piece: Piece
    entering: float
    worked: Worked

    @property
    def tension(self) -> float:
        """There, in the page's unit."""
        return self.worked.tension

    def lines(self) -> Iterator[str]:
        """Write it out: what cancels out there, and the equation of the segment as far as there."""
        p, g = self.piece, self.piece.grade_out
        across = "sqrt((T g' - w cos g)^2 + (T h' cos g)^2)" if abs(p.turn) >= FLAT else "|T g' - w cos g|"
        rate = (p.grade_out - p.grade_in) / p.length
        falls, rubs = p.weight * math.sin(g), _slope(p, 1.0, self.tension) - p.weight * math.sin(g)
        yield (
            f"the tension is level there: dT/ds = w sin g + c {across} = 0, as it comes to "
            f"{number(falls)} and {number(rubs)} with g' = {number(rate)}"
            + (f", h' = {number(p.turn / p.length)}" if abs(p.turn) >= FLAT else "")
        )
        yield (
            f"as far as there L = {number(p.length)}, g from {number(p.grade_in)} to {number(g)}, c = {number(p.c)}, "
            f"w = {number(p.weight)}, T1 = {number(self.entering)}"
        )
        yield from self.worked.lines


def peak(piece: Piece, entering: float) -> Level | None:
    """Look for the place inside a curve where the tension is greater than at both its ends.

    Parameters
    ----------
    piece : Piece
        The segment.
    entering : float
        Tension entering it, in the page's unit.

    Returns
    -------
    Level or None
        None where there is no such place: only a curve with a downhill part has one.

    Examples
    --------
    >>> crest = Piece(60.0, 0.5, -0.9, 0.0, 20.0, 0.35, 1.0)
    >>> level = peak(crest, 100.0)
    >>> level is not None and level.tension > work(crest, 100.0).tension
    True
    """
    if not (min(piece.grade_in, piece.grade_out) < 0 and abs(piece.grade_out - piece.grade_in) >= FLAT):
        return None
    marks = [k / _PARTS for k in range(_PARTS + 1)]
    tensions = [entering]
    for low, high in itertools.pairwise(marks):
        tensions.append(work(_between(piece, low, high), tensions[-1]).tension)
    found: Level | None = None
    slopes = [_slope(piece, at, t) for at, t in zip(marks, tensions, strict=True)]
    for k, (one, other) in enumerate(itertools.pairwise(slopes)):
        if one > 0 > other:
            low, high = marks[k], marks[k + 1]
            for _ in range(_HALVINGS):
                middle = 0.5 * (low + high)
                there = work(_between(piece, marks[k], middle), tensions[k]).tension
                low, high = (middle, high) if _slope(piece, middle, there) > 0 else (low, middle)
            part = _between(piece, 0.0, low)
            level = Level(part, entering, work(part, entering))
            if found is None or level.tension > found.tension:
                found = level
    return found if found and found.tension > max(entering, tensions[-1]) else None


def _between(p: Piece, low: float, high: float) -> Piece:
    """Return a part of a segment, from one fraction of its length to another."""
    sweep = p.grade_out - p.grade_in
    return replace(
        p,
        length=p.length * (high - low),
        turn=p.turn * (high - low),
        grade_in=p.grade_in + sweep * low,
        grade_out=p.grade_in + sweep * high,
    )


def _slope(p: Piece, at: float, tension: float) -> float:
    """Return what the tension gains per length at a fraction of a segment."""
    sweep = p.grade_out - p.grade_in
    g = p.grade_in + sweep * at
    across = math.hypot(
        tension * sweep / p.length - p.weight * math.cos(g), tension * p.turn / p.length * math.cos(g)
    )
    return p.weight * math.sin(g) + p.c * across

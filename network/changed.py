"""Rows with one thing changed: what a lower friction, a larger sweep or one more vault would make of them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from mechanics.chain import Chain
from mechanics.errors import DomainError, FloatArray, in_range
from mechanics.pieces import cut
from mechanics.pull import PullResult
from mechanics.setting import NO_BEND, bend_angle
from mechanics.track import Bore
from network.row import Row, RowVault, Stretch

# What must be left of a straight beside a bend. [m]
_LEFT = 0.05
_HALVINGS = 20
_TILTINGS = 3
# Steeper than this is a riser, which goes straight up whatever its length. [rad]
_UPRIGHT = 1.5


def with_friction(row: Row, change: Callable[[float], float]) -> Row:
    """Return a row with other friction in all its ducts, wet, dry and under hard contact; guides keep theirs.

    Parameters
    ----------
    row : Row
        As it is.
    change : callable
        The new coefficient from the old one, above 0 and never falling where the old one rises.

    Returns
    -------
    Row
        As it would be.
    """
    known: dict[Bore, Bore] = {}

    def changed(bore: Bore) -> Bore:
        if bore.guide:
            return bore
        if bore not in known:
            law = bore.friction
            known[bore] = replace(
                bore,
                friction=replace(
                    law,
                    lubricated=change(law.lubricated),
                    dry=None if law.dry is None else change(law.dry),
                    pressed=None if law.pressed is None else change(law.pressed),
                ),
            )
        return known[bore]

    def stretch(s: Stretch) -> Stretch:
        return replace(s, bores=tuple(changed(b) for b in s.bores))

    return replace(
        row, spans=tuple(stretch(s) for s in row.spans), crossings=tuple(stretch(s) for s in row.crossings)
    )


def bends_of(row: Row, span: int) -> tuple[int, ...]:
    """Return which segments of a span are bends.

    Parameters
    ----------
    row : Row
        Where.
    span : int
        Which.

    Returns
    -------
    tuple of int
        Numbers of its segments.
    """
    return tuple(np.flatnonzero(row.spans[span].chain.curvature > NO_BEND).tolist())


def tightest(row: Row) -> list[tuple[float, int, int]]:
    """Return all bends in the ducts of a row, the tightest first.

    Parameters
    ----------
    row : Row
        Where.

    Returns
    -------
    list of (float, int, int)
        Radius of the centreline [m], span, segment of the span.
    """
    found = [
        (1.0 / float(row.spans[span].chain.curvature[bend]), span, bend)
        for span in range(len(row.spans))
        for bend in bends_of(row, span)
    ]
    return sorted(found)


def hardest_bend(row: Row, feed: int, pull: int, result: PullResult) -> tuple[int, int] | None:
    """Return the bend in a duct that a pull presses hardest; where the least radius of ducts governs it, the tightest.

    Parameters
    ----------
    row : Row
        Where.
    feed, pull : int
        Vaults of the row.
    result : PullResult
        Of that pull.

    Returns
    -------
    tuple of (int, int) or None
        Span and segment of the span; None where no duct bends.
    """
    low, high = sorted((feed, pull))
    start, stop = int(row.first[low]), int(row.last[high - 1])
    head = 0 if row.feed_guide is None else len(row.feed_guide.chain)
    segment = result.source_segment - head
    segment = np.clip(stop - 1 - segment if feed > pull else start + segment, start, stop - 1)
    span = np.searchsorted(row.first, segment, side="right") - 1
    on_guides = (result.source_segment < head) | (result.source_segment >= head + stop - start)
    bent = (row.line.chain.curvature[segment] > NO_BEND) & (segment < row.last[span]) & ~on_guides
    if not bent.any():
        return None
    governs = max((c for c in result.checks if c.strains), key=lambda c: c.utilisation or 0.0, default=None)
    tightest_counts = governs is not None and governs.name == "bending_radius"
    hardness = row.line.chain.curvature[segment] if tightest_counts else result.sidewall
    worst = int(np.argmax(np.where(bent, hardness, -1.0)))
    return int(span[worst]), int(segment[worst] - row.first[span[worst]])


def part_of(row: Row, low: int, high: int) -> Row:
    """Return a stretch of a row alone.

    Parameters
    ----------
    row : Row
        The whole.
    low, high : int
        Its ends, as vaults of the row, ``low`` below ``high``.

    Returns
    -------
    Row
        Its vault 0 is vault ``low``.
    """
    return replace(
        row,
        vaults=row.vaults[low : high + 1],
        spans=row.spans[low:high],
        crossings=row.crossings[low : high - 1],
    )


def with_part(row: Row, low: int, part: Row) -> Row:
    """Return a row in which the ducts of a stretch are others.

    Parameters
    ----------
    row : Row
        The whole.
    low : int
        The vault at which the stretch begins.
    part : Row
        With as many vaults as the stretch has.

    Returns
    -------
    Row
        The vaults are as before.
    """
    high = low + len(part.spans)
    return replace(
        row,
        spans=(*row.spans[:low], *part.spans, *row.spans[high:]),
        crossings=(*row.crossings[:low], *part.crossings, *row.crossings[high - 1 :]),
    )


def with_sweep(row: Row, span: int, bend: int, radius: float) -> Row:
    """Return a row in which one bend has another radius, the straights beside it giving way or growing.

    Parameters
    ----------
    row : Row
        As it is.
    span, bend : int
        Which span, and which of its segments.
    radius : float
        Of the centreline, above 0. [m]

    Returns
    -------
    Row
        As it would be; the bend turns as far as before, and the span ends as high: on slopes, where the shorter way of a
        larger sweep is steeper, all of it is by the same angle.

    Raises
    ------
    DomainError
        A segment that is no bend, a radius that is not above 0, or no room beside the bend for a larger sweep.
    """
    in_range("radius", radius, above=0.0)
    chain = row.spans[span].chain
    if bend not in bends_of(row, span):
        raise DomainError(f"bend must be one of the span's bends {bends_of(row, span)}, got {bend}")
    angle = float(bend_angle(chain.part(bend, bend + 1))[0])
    length = chain.length.copy()
    shift = (radius - float(chain.length[bend]) / angle) * math.tan(0.5 * min(angle, math.pi - 0.1))
    length[bend] = radius * angle
    curved = chain.curvature > NO_BEND
    for beside in (bend - 1, bend + 1):
        if 0 <= beside < len(chain) and not curved[beside]:
            length[beside] -= shift
            if not length[beside] >= _LEFT:
                raise DomainError(
                    f"no room for a sweep of {radius:.2f} m: the straight beside it is too short"
                )
        elif shift > 1e-9:
            raise DomainError(f"no room for a sweep of {radius:.2f} m: there is no straight beside it")
    spans = list(row.spans)
    tilt = _tilt(chain, length)
    laid = Chain(length, chain.grade_in + tilt, chain.grade_out + tilt, chain.turn)
    spans[span] = replace(spans[span], chain=laid)
    return replace(row, spans=tuple(spans))


def _tilt(chain: Chain, length: FloatArray) -> float:
    """By how much steeper segments of other lengths must all be for the last to end as high as before. [rad]"""
    if not float(np.max(np.abs(np.concatenate((chain.grade_in, chain.grade_out))))) < _UPRIGHT:
        return 0.0
    middle, half = 0.5 * (chain.grade_in + chain.grade_out), 0.5 * (chain.grade_out - chain.grade_in)
    # the mean of the sine over a segment: np.sinc(x) is sin(pi x)/(pi x)
    share = np.sinc(half / np.pi)
    rise = float(np.sum(chain.length * share * np.sin(middle)))
    tilt = 0.0
    for _ in range(_TILTINGS):
        lacking = rise - float(np.sum(length * share * np.sin(middle + tilt)))
        tilt += lacking / float(np.sum(length * share * np.cos(middle + tilt)))
    return tilt


def roomiest(row: Row, span: int, bend: int, most: float) -> float:
    """Return the largest sweep that there is room for.

    Parameters
    ----------
    row : Row
        Where.
    span, bend : int
        Which span, and which of its segments.
    most : float
        No larger one is looked for. [m]

    Returns
    -------
    float
        Radius of the centreline, at least what it is. [m]
    """
    low, high = 1.0 / float(row.spans[span].chain.curvature[bend]), most
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        try:
            with_sweep(row, span, bend, middle)
            low = middle
        except DomainError:
            high = middle
    return low


def with_vault(row: Row, span: int, station: float, tag: str = "new vault") -> Row:
    """Return a row with one more vault, in a span, the ducts meeting face to face in it.

    Parameters
    ----------
    row : Row
        As it is.
    span : int
        Which span.
    station : float
        From the span's start, within it. [m]
    tag : str, optional
        Of the new vault, unique in the row.

    Returns
    -------
    Row
        As it would be: the new vault is number ``span + 1``.

    Raises
    ------
    DomainError
        A station that is not within the span.
    """
    whole = row.spans[span]
    in_range("station", station, above=0.0, below=whole.chain.total_length)
    ends = whole.chain.station
    segment = int(np.searchsorted(ends, station, side="left"))
    begin = float(ends[segment] - whole.chain.length[segment])
    pieces, source = cut(whole.chain, [segment], [(station - begin) / float(whole.chain.length[segment])])
    at = int(np.searchsorted(pieces.station, station - 1e-9 * float(ends[-1]), side="left")) + 1
    if not 0 < at < len(pieces):
        raise DomainError(f"station must be within the span, got {station} m")

    def part(begin: int, end: int) -> Stretch:
        own = source[begin:end].tolist()
        return Stretch(
            pieces.part(begin, end),
            tuple(whole.bores[k] for k in own),
            tuple(whole.ids[k] for k in own) if whole.ids else (),
            tuple(whole.how[k] for k in own) if whole.how else (),
        )

    none = Stretch(Chain([], [], [], []), ())
    return replace(
        row,
        vaults=(*row.vaults[: span + 1], RowVault(tag), *row.vaults[span + 1 :]),
        spans=(*row.spans[:span], part(0, at), part(at, len(pieces)), *row.spans[span + 1 :]),
        crossings=(*row.crossings[:span], none, *row.crossings[span:]),
    )

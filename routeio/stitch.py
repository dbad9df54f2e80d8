"""Stitching: loose pieces whose ends meet, or nearly, made into lines between vaults; nothing ambiguous joined."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from mechanics.errors import FloatArray
from routeio.attach import Tied
from routeio.bulges import headings
from routeio.findings import Finding, span_text
from routeio.rawlines import RawLine
from routeio.survey import DuctFields
from routeio.tidy import placed, points_at
from routeio.ties import EXACT

#: Ends nearer than this touch. [m]
TOUCH = 1e-4
#: A gap is closed only if no third end is nearer than this many gaps,
CLEARLY = 2.0
#: nor nearer than drafting is exact. [m]
DRAFTING = 0.03
#: Ends that would turn a duct back by more than this do not belong together. [rad]
TURNS_BACK = math.radians(150.0)
_FIELDS = ("size", "type", "inside_diameter", "friction", "count", "free", "flooded")
#: Legs that meet at more than this meet at a corner, where their lines cross. [rad]
CORNER = math.radians(2.0)


@dataclass(frozen=True, eq=False)
class Joined:
    """A line between vaults, or with loose ends, made of one piece or several.

    Parameters
    ----------
    tied : Tied
        The line.
    pieces : tuple of RawLine
        Where they have different fields or layers: the pieces in order, with the line's own vertices; else empty.
    """

    tied: Tied
    pieces: tuple[RawLine, ...] = ()


@dataclass(frozen=True)
class _End:
    """An end of a piece at no vault."""

    piece: int
    last: bool

    @property
    def other(self) -> _End:
        return _End(self.piece, not self.last)


def stitched(tied: Sequence[Tied], snap: float) -> tuple[list[Joined], list[Finding]]:
    """Join pieces end to end where exactly two ends meet at no vault.

    Parameters
    ----------
    tied : sequence of Tied
        Pieces, their ends tied to vaults where they reach any.
    snap : float
        How wide a gap may be. [m]

    Returns
    -------
    lines : list of Joined
        In the order of their first pieces.
    findings : list of Finding
        Each gap closed with its width, each junction that is not decided.
    """
    findings: list[Finding] = []
    pieces = list(tied)
    partner = _partners(pieces, snap, findings)
    for end, other in partner.items():
        if (end.piece, end.last) < (other.piece, other.last):
            _meet(pieces, end, other, findings)
    lines = _walk(pieces, partner, findings)
    several = [line for line in lines if len(set(line.tied.line.ids)) > 1]
    if partner and several:
        findings.append(
            Finding(
                "pieces-joined",
                "info",
                f"joints between pieces with no vault at them: {len(partner) // 2}; lines made of several pieces: "
                f"{len(several)}",
                several[0].tied.line.where,
                "none needed",
            )
        )
    return lines, findings


def _place(pieces: Sequence[Tied], end: _End) -> FloatArray:
    return np.asarray(pieces[end.piece].line.points[-1 if end.last else 0])


def _outward(pieces: Sequence[Tied], end: _End) -> float:
    """Heading with which a duct leaves its piece at an end. [rad]"""
    line = pieces[end.piece].line
    if end.last:
        return float(headings(line.points[-2:], line.bulge[-1:])[1][0])
    return float(headings(line.points[:2], line.bulge[:1])[0][0]) + math.pi


def _turn(pieces: Sequence[Tied], a: _End, b: _End) -> float:
    """By how much a duct turns that goes out of one piece at ``a`` and into another at ``b``. [rad]"""
    change = _outward(pieces, b) + math.pi - _outward(pieces, a)
    return abs((change + math.pi) % (2.0 * math.pi) - math.pi)


def _partners(pieces: list[Tied], snap: float, findings: list[Finding]) -> dict[_End, _End]:
    """Return which end goes on into which, both ways round."""
    loose = [
        _End(i, last)
        for i, t in enumerate(pieces)
        for last in (False, True)
        if (t.end if last else t.start) is None and not t.undecided[int(last)]
    ]
    if len(loose) < 2:
        return {}
    points = np.array([_place(pieces, end)[:2] for end in loose])
    marks = points_at(points)
    one, other = shapely.STRtree(marks).query(marks, predicate="dwithin", distance=max(snap, TOUCH))
    apart = np.hypot(*(points[one] - points[other]).T)
    near: dict[int, list[tuple[float, int]]] = defaultdict(list)
    for i, j, d in zip(one.tolist(), other.tolist(), apart.tolist(), strict=True):
        # the two ends of one piece close a ring only where they touch: a short piece is not bent round
        if i != j and (d <= TOUCH or loose[i].piece != loose[j].piece):
            near[i].append((d, j))
    for ranked in near.values():
        ranked.sort()
    index = {end: k for k, end in enumerate(loose)}
    partner: dict[_End, _End] = {}
    said: set[int] = set()
    for i in range(len(loose)):
        if i in said or loose[i] in partner or not near[i]:
            continue
        gap, j = near[i][0]
        if near[j][0][1] != i and near[j][0][0] < gap:
            continue  # the other end has a nearer neighbour of its own, which may take it
        bound = max(CLEARLY * gap, min(DRAFTING, snap))
        rivals = sorted(
            {k for end in (i, j) for d, k in near[end] if d <= bound and k not in (i, j)}
            - _far_ends_of_short_pieces(index, pieces, (loose[i], loose[j]), bound)
        )
        if rivals:
            members = sorted({i, j, *rivals})
            said.update(members)
            findings.append(_undecided(pieces, [loose[k] for k in members], points[members]))
            continue
        if loose[j] in partner:
            continue
        turn = _turn(pieces, loose[i], loose[j])
        if turn > TURNS_BACK:
            said.update((i, j))
            findings.append(_turned_back(pieces, loose[i], loose[j], gap, turn))
            continue
        partner[loose[i]], partner[loose[j]] = loose[j], loose[i]
    _mark_undecided(pieces, [loose[k] for k in said])
    return partner


def _far_ends_of_short_pieces(
    index: dict[_End, int], pieces: Sequence[Tied], ends: tuple[_End, _End], bound: float
) -> set[int]:
    """The far ends of the two pieces themselves are no rivals where the piece is as short as the gap."""
    short = set()
    for end in ends:
        line = pieces[end.piece].line
        if float(np.hypot(*(line.points[0] - line.points[-1])[:2])) <= bound and end.other in index:
            short.add(index[end.other])
    return short


def _mark_undecided(pieces: list[Tied], ends: Sequence[_End]) -> None:
    for end in ends:
        t = pieces[end.piece]
        first, last = t.undecided
        pieces[end.piece] = replace(t, undecided=(first, True) if end.last else (True, last))


def _undecided(pieces: Sequence[Tied], ends: Sequence[_End], points: FloatArray) -> Finding:
    middle = points.mean(axis=0)
    wide = float(np.hypot(*(points - middle).T).max()) * 2.0
    names = ", ".join(sorted({pieces[e.piece].line.where.id for e in ends})[:6])
    return Finding(
        "ambiguous-junction",
        "error",
        f"{len(ends)} duct ends meet within {span_text(wide)} and there is no vault ({names}): which goes on into which "
        "is not guessed, and they are left loose",
        placed(pieces[ends[0].piece].line.where, middle),
        "draw the vault there, or join the two that belong together into one line",
    )


def _turned_back(pieces: Sequence[Tied], a: _End, b: _End, gap: float, turn: float) -> Finding:
    return Finding(
        "ends-side-by-side",
        "warning",
        f"two duct ends {span_text(gap)} apart are not joined, because a duct through both would turn back by "
        f"{math.degrees(turn):.0f} degrees ({pieces[a.piece].line.where.id}, {pieces[b.piece].line.where.id})",
        placed(pieces[a.piece].line.where, _place(pieces, a)),
        "draw the vault they end at, or the bend between them",
    )


def _meet(pieces: list[Tied], a: _End, b: _End, findings: list[Finding]) -> None:
    """Bring two ends together, and say how far apart they were."""
    p, q = _place(pieces, a), _place(pieces, b)
    gap = float(np.hypot(*(p - q)[:2]))
    rise = float(abs(p[2] - q[2])) if np.isfinite(p[2]) and np.isfinite(q[2]) else 0.0
    meeting = _meeting_point(pieces, a, b, gap)
    z = np.array([p[2], q[2]])
    known = z[np.isfinite(z)]
    meeting = np.array([meeting[0], meeting[1], known.mean() if known.size else np.nan])
    for end in (a, b):
        t = pieces[end.piece]
        points = np.array(t.line.points)
        points[-1 if end.last else 0] = meeting
        pieces[end.piece] = replace(t, line=replace(t.line, points=points))
    if gap > TOUCH or rise > EXACT:
        up = f" and {span_text(rise)} in elevation" if rise > EXACT else ""
        findings.append(
            Finding(
                "gap-closed",
                "info",
                f"a gap of {span_text(gap)}{up} between {pieces[a.piece].line.where.id} and "
                f"{pieces[b.piece].line.where.id} is closed",
                placed(pieces[a.piece].line.where, meeting),
                "draw the ends together, or lower snap if they do not belong together",
            )
        )


def _meeting_point(pieces: Sequence[Tied], a: _End, b: _End, gap: float) -> FloatArray:
    """Return where two ends are brought together so that neither leg is bent more than need be."""
    p, q = _place(pieces, a)[:2], _place(pieces, b)[:2]
    if gap <= 0.0:
        return p
    straight_a, straight_b = _is_straight(pieces, a), _is_straight(pieces, b)
    if straight_a != straight_b:  # an arc is exact; the straight gives way
        return q if straight_a else p
    middle = 0.5 * (p + q)
    if not straight_a:
        return middle
    u = np.array([math.cos(_outward(pieces, a)), math.sin(_outward(pieces, a))])
    v = np.array([math.cos(_outward(pieces, b)), math.sin(_outward(pieces, b))])
    cross = float(u[0] * v[1] - u[1] * v[0])
    if abs(cross) < math.sin(CORNER):
        return middle
    along = float((q - p)[0] * v[1] - (q - p)[1] * v[0]) / cross
    corner = p + along * u
    # over- and undershoots at a corner: where the two legs cross, if that is as near as the ends are
    far = max(float(np.hypot(*(corner - p))), float(np.hypot(*(corner - q))))
    return corner if far <= 2.0 * gap else middle


def _is_straight(pieces: Sequence[Tied], end: _End) -> bool:
    return bool(abs(pieces[end.piece].line.bulge[-1 if end.last else 0]) < 1e-9)


def _walk(pieces: list[Tied], partner: dict[_End, _End], findings: list[Finding]) -> list[Joined]:
    """Follow the joints from piece to piece into whole lines."""
    lines: list[Joined] = []
    done = [False] * len(pieces)
    for i in range(len(pieces)):
        if done[i]:
            continue
        first = _End(i, False)
        # back to where the line begins, or round a ring to where we set out
        while first in partner:
            back = partner[first].other
            if back.piece == i:
                break
            first = back
        ring = first in partner
        run: list[tuple[int, bool]] = []
        end = first
        while True:
            run.append((end.piece, end.last))
            done[end.piece] = True
            onward = partner.get(end.other)
            if onward is None or done[onward.piece]:
                break
            end = onward
        lines.append(_one_line(pieces, run, ring, findings))
    return lines


def _one_line(
    pieces: Sequence[Tied], run: Sequence[tuple[int, bool]], ring: bool, findings: list[Finding]
) -> Joined:
    parts = [_turned(pieces[i]) if backwards else pieces[i] for i, backwards in run]
    if ring:
        findings.append(
            Finding(
                "ring-without-vault",
                "error",
                "a closed line with no vault on it: where a cable would be fed in is not known",
                placed(parts[0].line.where, parts[0].line.points[0]),
                "draw the vault it starts from",
            )
        )
    if len(parts) == 1:
        only = parts[0]
        return Joined(replace(only, undecided=(True, True)) if ring else only)
    fields, apart = _fields_of([p.line for p in parts], findings)
    line = RawLine(
        np.vstack([parts[0].line.points, *(p.line.points[1:] for p in parts[1:])]),
        np.concatenate([p.line.bulge for p in parts]),
        tuple(i for p in parts for i in p.line.ids),
        all(p.line.drawn for p in parts),
        fields,
        parts[0].line.where,
    )
    undecided = (True, True) if ring else (parts[0].undecided[0], parts[-1].undecided[1])
    return Joined(Tied(line, parts[0].start, parts[-1].end, undecided), apart)


def _turned(tied: Tied) -> Tied:
    """Return a piece travelled the other way."""
    line = tied.line
    back = replace(line, points=line.points[::-1].copy(), bulge=-line.bulge[::-1] + 0.0, ids=line.ids[::-1])
    return Tied(back, tied.end, tied.start, tied.undecided[::-1])


def _fields_of(lines: Sequence[RawLine], findings: list[Finding]) -> tuple[DuctFields, tuple[RawLine, ...]]:
    """Return the fields of a line made of pieces, and the pieces where they differ in fields or layer."""
    recorded = [line.fields.recorded_length for line in lines]
    total = sum(r for r in recorded if r is not None) if None not in recorded else None
    plain = [replace(line.fields, recorded_length=None) for line in lines]
    differing = [n for n in _FIELDS if len({getattr(f, n) for f in plain}) > 1]
    layers = list(dict.fromkeys(line.where.layer for line in lines))
    if not differing and len(layers) == 1:
        return replace(plain[0], recorded_length=total), ()
    what = ", ".join([*differing, *([f"layer ({', '.join(layers)})"] if len(layers) > 1 else [])])
    findings.append(
        Finding(
            "pieces-differ",
            "info",
            f"pieces joined with no vault between them differ in {what}; each keeps its own",
            placed(lines[0].where, lines[0].points[0]),
            "check them, or draw the vault between",
        )
    )
    merged = {n: None if n in differing else getattr(plain[0], n) for n in _FIELDS}
    return DuctFields(**merged, recorded_length=total), tuple(lines)

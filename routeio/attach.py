"""Attaching: line ends to the vaults they reach, and lines cut at the vaults they pass through."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from mechanics.errors import FloatArray
from routeio.bulges import Spot, cut, flattened, headings, leg_lengths, nearest_spot, point_at, spot_at
from routeio.findings import Finding, span_text
from routeio.passing import passing
from routeio.rawlines import RawLine
from routeio.stack import stacked
from routeio.survey import Vault
from routeio.tidy import placed
from routeio.ties import EXACT, reach_of, tied_ends

#: A vertex that turns by more than this is a corner. [rad]
CORNER = math.radians(2.0)
#: Corners inside an outline up to this size lie in the vault, not in a duct. [m]
VAULT_SIZE = 15.0


@dataclass(frozen=True, eq=False)
class Tied:
    """A line with the vaults its ends are tied to.

    Parameters
    ----------
    line : RawLine
        The line.
    start, end : int or None
        Index of the vault; None for an end at no vault.
    undecided : tuple of 2 bool
        Whether each end is loose because it could not be decided, which has been said.
    """

    line: RawLine
    start: int | None = None
    end: int | None = None
    undecided: tuple[bool, bool] = (False, False)


def attached(
    lines: Sequence[RawLine], vaults: Sequence[Vault], snap: float
) -> tuple[list[Tied], list[Finding]]:
    """Tie line ends to vaults and cut lines at the vaults they pass through.

    An end inside a vault's outline belongs to it; else the nearest outline or point within ``snap`` has it, unless
    another is nearly as near. Ends stay where they are drawn. A line is cut where it passes through an outline or
    within ``snap`` of a point: at its corner there if it has one, else where it is nearest the centre.

    Parameters
    ----------
    lines : sequence of RawLine
        Each with a length.
    vaults : sequence of Vault
        Tags unique.
    snap : float
        [m]

    Returns
    -------
    lines : list of Tied
        In the order of the lines, the parts of one line after one another.
    findings : list of Finding
        Every end tied across a gap, every cut, every end that could belong to two vaults.
    """
    if not vaults:
        return [Tied(line) for line in lines], []
    stack = stacked(lines)
    reach = reach_of(vaults)
    ties, findings = tied_ends(stack, lines, reach, snap)
    passes = passing(stack, ties, reach, snap)
    starts, ends = (
        [None if v < 0 else v for v in column.tolist()] for column in (ties.vault[0::2], ties.vault[1::2])
    )
    undecided = zip(ties.undecided[0::2].tolist(), ties.undecided[1::2].tolist(), strict=True)
    tied: list[Tied] = []
    for i, (line, start, end, said) in enumerate(zip(lines, starts, ends, undecided, strict=True)):
        whole = Tied(line, start, end, said)
        if i in passes:
            tied += _cut_at(whole, passes[i], vaults, snap, findings)
        else:
            tied.append(whole)
    return tied, findings


@dataclass(frozen=True)
class _Cut:
    """A place where a line is cut: what comes before ends at ``before``, what comes after begins at ``after``."""

    before: float
    after: float
    vault: int


def _cut_at(
    whole: Tied, near: Iterable[int], vaults: Sequence[Vault], snap: float, findings: list[Finding]
) -> list[Tied]:
    """Cut a line at the vaults it passes, and trim ends that run past the vault they are tied to."""
    line = whole.line
    candidates = list(near)
    if not candidates:
        return [whole]
    total = float(leg_lengths(line.points, line.bulge).sum())
    low, high = 0.0, total
    cuts: list[_Cut] = []
    for v in candidates:
        vault = vaults[v]
        if vault.footprint is not None:
            cuts += _through_outline(line, v, vault, total, findings)
            continue
        spot = nearest_spot(line.points, line.bulge, vault.x, vault.y)
        if spot.distance > snap:
            continue
        near_start, near_end = (
            at <= 2.0 * snap and float(np.hypot(*(line.points[k, :2] - (vault.x, vault.y)))) <= snap
            for at, k in ((spot.station, 0), (total - spot.station, -1))
        )
        at_start = whole.start == v and spot.station <= 2.0 * snap
        at_end = whole.end == v and spot.station >= total - 2.0 * snap
        if (near_start and not at_start) or (near_end and not at_end):
            continue  # an end in reach that belongs to another vault, or could: that has been decided
        if at_start or at_end:
            past = spot.station if at_start else total - spot.station
            if EXACT < past < 0.5 * total:
                low, high = (spot.station, high) if at_start else (low, spot.station)
                findings.append(_overshoot(line, spot, vault, past))
            continue
        station = _corner_near(line, spot, snap)
        cuts.append(_Cut(station, station, v))
        findings.append(_split(line, station, vault, spot.distance))
    parts = _parts(whole, cuts, low, high, total)
    return [part for part in parts if not _inside_its_vault(part, vaults, snap, findings)]


def _inside_its_vault(part: Tied, vaults: Sequence[Vault], snap: float, findings: list[Finding]) -> bool:
    """Whether a part runs from a vault to the same vault without leaving it: what is left of an end drawn through."""
    if part.start is None or part.start != part.end:
        return False
    footprint = vaults[part.start].footprint
    points = part.line.points[:, :2]
    if footprint is None or not shapely.contains_xy(footprint.buffer(snap), points).all():
        return False
    findings.append(
        Finding(
            "overshoot-trimmed",
            "info",
            f"what the line draws inside vault {vaults[part.start].tag} is its crossing, not a duct; left out",
            placed(part.line.where, points[0]),
            "end the line at the vault's wall",
        )
    )
    return True


def _through_outline(
    line: RawLine, v: int, vault: Vault, total: float, findings: list[Finding]
) -> list[_Cut]:
    """Return the cuts where a line passes through a vault's outline without ending in it."""
    flat, spots = flattened(line.points, line.bulge, EXACT)
    drawn = shapely.LineString(flat[:, :2])
    inside = shapely.intersection(drawn, vault.footprint)
    parts = [p for p in shapely.get_parts(inside) if p.geom_type == "LineString" and p.length > EXACT]
    if not parts:
        return []
    flat_station = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(flat[:, :2], axis=0).T))))
    leg_ends = np.concatenate(([0.0], np.cumsum(leg_lengths(line.points, line.bulge))))

    def station_of(part_point: shapely.Point) -> float:
        along = float(np.interp(drawn.project(part_point), flat_station, spots))
        leg = min(int(along), line.bulge.size - 1)
        return float(leg_ends[leg] + (along - leg) * (leg_ends[leg + 1] - leg_ends[leg]))

    spans = sorted(
        sorted((station_of(shapely.Point(p.coords[0])), station_of(shapely.Point(p.coords[-1]))))
        for p in parts
    )
    merged: list[list[float]] = []
    for low, high in spans:  # the pieces of one passage meet at the vertices inside
        if merged and low <= merged[-1][1] + EXACT:
            merged[-1][1] = max(high, merged[-1][1])
        else:
            merged.append([low, high])
    corners = _corner_stations(line)
    cuts = []
    for low, high in merged:
        if low < EXACT or high > total - EXACT:
            continue  # an end that lies inside
        within = corners[(corners > low) & (corners < high)]
        centre = _nearest_between(line, vault, low, high)
        if within.size > 1 and _size(vault) <= VAULT_SIZE:
            cuts.append(_Cut(float(within[0]), float(within[-1]), v))
        elif within.size:
            at = float(within[np.argmin(np.abs(within - centre))])
            cuts.append(_Cut(at, at, v))
        else:
            cuts.append(_Cut(centre, centre, v))
        place = point_at(line.points, line.bulge, spot_at(line.points, line.bulge, cuts[-1].before))
        findings.append(
            _split(line, cuts[-1].before, vault, float(np.hypot(place[0] - vault.x, place[1] - vault.y)))
        )
    return cuts


def _size(vault: Vault) -> float:
    if vault.footprint is None:
        return 0.0
    low_x, low_y, high_x, high_y = vault.footprint.bounds
    return float(max(high_x - low_x, high_y - low_y))


def _nearest_between(line: RawLine, vault: Vault, low: float, high: float) -> float:
    """Return the station between two nearest to a vault's centre."""
    first, last = (spot_at(line.points, line.bulge, s) for s in (low, high))
    points, bulge, _ = cut(line.points, line.bulge, first, last)
    return low + nearest_spot(points, bulge, vault.x, vault.y).station


def _corner_stations(line: RawLine) -> FloatArray:
    """Return where along a line its vertices turn by more than a little."""
    if line.bulge.size < 2:
        return np.zeros(0)
    first, last = headings(line.points, line.bulge)
    turn = np.abs((first[1:] - last[:-1] + np.pi) % (2.0 * np.pi) - np.pi)
    return np.asarray(np.cumsum(leg_lengths(line.points, line.bulge))[:-1][turn > CORNER])


def _corner_near(line: RawLine, spot: Spot, snap: float) -> float:
    """Return the station of the corner nearest a spot, if one is within tolerance, else the spot's own."""
    corners = _corner_stations(line)
    if corners.size:
        nearest = float(corners[np.argmin(np.abs(corners - spot.station))])
        if abs(nearest - spot.station) <= snap:
            return nearest
    return spot.station


def _parts(whole: Tied, cuts: list[_Cut], low: float, high: float, total: float) -> list[Tied]:
    line = whole.line
    cuts = sorted(
        (c for c in cuts if c.before > low + EXACT and c.after < high - EXACT), key=lambda c: c.before
    )
    if not cuts and low == 0.0 and high == total:
        return [whole]
    parts: list[Tied] = []
    start, start_vault, start_undecided = low, whole.start, whole.undecided[0]
    for c in [*cuts, None]:
        end = high if c is None else c.before
        end_vault = whole.end if c is None else c.vault
        if end - start > EXACT:
            parts.append(
                Tied(
                    part_of(line, start, end, total),
                    start_vault,
                    end_vault,
                    (start_undecided, whole.undecided[1] if c is None else False),
                )
            )
        if c is not None:
            start, start_vault, start_undecided = c.after, c.vault, False
    return parts


def part_of(line: RawLine, start: float, end: float, total: float) -> RawLine:
    """Return what a line draws between two stations, with its share of the length on record.

    Parameters
    ----------
    line : RawLine
        The line.
    start, end : float
        From its first vertex. [m]
    total : float
        Length of the line in plan. [m]

    Returns
    -------
    RawLine
        Its legs keep their ids.
    """
    first = spot_at(line.points, line.bulge, start) if start > 0.0 else None
    last = spot_at(line.points, line.bulge, end) if end < total else None
    points, bulge, legs = cut(line.points, line.bulge, first, last)
    fields = line.fields
    if fields.recorded_length is not None:
        fields = replace(fields, recorded_length=fields.recorded_length * (end - start) / total)
    return replace(line, points=points, bulge=bulge, ids=line.ids[legs], fields=fields)


def _split(line: RawLine, station: float, vault: Vault, distance: float) -> Finding:
    spot = spot_at(line.points, line.bulge, station)
    return Finding(
        "split-at-vault",
        "info",
        f"the line passes {span_text(distance)} from the middle of vault {vault.tag} and is split there",
        placed(line.where, point_at(line.points, line.bulge, spot)),
        "end the duct at the vault if it does not pass through it",
    )


def _overshoot(line: RawLine, spot: Spot, vault: Vault, past: float) -> Finding:
    return Finding(
        "overshoot-trimmed",
        "info",
        f"the line runs {span_text(past)} past vault {vault.tag}; the rest is left out",
        placed(line.where, point_at(line.points, line.bulge, spot)),
        "end the line at the vault",
    )

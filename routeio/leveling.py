"""Leveling: every duct laid on the best elevations there are, and on record which those were."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from mechanics.chain import Chain
from mechanics.errors import FloatArray
from routeio.elevation import against_inverts, at_ground, with_inverts
from routeio.findings import Finding, InputRefusedError, Where, span_text
from routeio.heights import STEEPEST
from routeio.lay import added, laid, plan_of
from routeio.levels import AGREES, Along, Stretches
from routeio.options import ReadOptions
from routeio.shape import Shape
from routeio.survey import ElevationFrom, Ground, Vault
from routeio.terrain import Grid, filled, opened
from routeio.tidy import placed

#: Ducts mouth no farther than this from the middle of their vault. [m]
_MOUTH = 15.0
#: A vault's invert lies no deeper than this under the terrain, and no higher than this above it: common practice,
#: no source. [m]
_DEEPEST, _ABOVE = 12.0, 0.5
#: Findings on the fit itself that say nothing more where elevations are known to scatter.
_OF_THE_FIT = ("profile-fitted", "radius-assumed")
_CHECK = "check the elevations and their unit"
_WORDS: Mapping[ElevationFrom, str] = {
    "profile": "a profile table",
    "alignment": "the profiles of their alignments",
    "schedule": "rises and falls of the bend schedule",
    "line": "z on their lines",
    "inverts": "inverts of their vaults",
    "terrain": "a terrain and the cover stated",
}


@dataclass(frozen=True, eq=False)
class Span:
    """A shape with the vaults at its ends.

    Parameters
    ----------
    shape : Shape
        As recovered from its line.
    start, end : int or None
        Index of the vault.
    where : Where
        Of the line.
    elevation_from : {"", "line", "alignment", "schedule", "inverts", "profile", "terrain"}
        What its elevations were taken from.
    """

    shape: Shape
    start: int | None
    end: int | None
    where: Where
    elevation_from: ElevationFrom = ""


def leveled(
    spans: Sequence[Span], vaults: Sequence[Vault], ground: Ground, options: ReadOptions
) -> tuple[list[Span], list[Finding]]:
    """Lay every span on the best elevations there are.

    Those are, the first that serves: a profile table that the user states, z on the line, inverts at both its vaults,
    a terrain with a stated cover. A span that nothing serves is flat.

    Parameters
    ----------
    spans : sequence of Span
        With the elevations of their lines, if any, and where those are from if not from z.
    vaults : sequence of Vault
        All.
    ground : Ground
        Units and coordinate reference system.
    options : ReadOptions
        ``profile``, ``terrain``.

    Returns
    -------
    spans : list of Span
        In the same order; what was found about a span is in its shape's findings.
    findings : list of Finding
        About the sources.

    Raises
    ------
    InputRefusedError
        A profile that fits no duct; a terrain that cannot be used.
    """
    findings: list[Finding] = []
    out = [
        replace(span, elevation_from=(span.elevation_from or "line") if span.shape.elevated else "")
        for span in spans
    ]
    if options.profile is not None:
        out = _by_profile(out, vaults, options, Stretches(options.profile), findings)
    grid = _grid(out, vaults, ground, options, findings)
    out = [span if span.elevation_from else _by_inverts(span, vaults, grid is not None) for span in out]
    if grid is not None:
        out = _by_terrain(out, options, grid)
        findings += _inverts_against(vaults, grid)
    own = _own_ends(out, vaults)
    findings += [*at_ground(own), *against_inverts(own)]
    findings += _told(out, options, grid)
    return out, findings


def _by_profile(
    spans: Sequence[Span],
    vaults: Sequence[Vault],
    options: ReadOptions,
    table: Stretches,
    findings: list[Finding],
) -> list[Span]:
    name = table.table.name
    findings += [
        Finding(
            "profile-level-dropped", "warning", f"{text}: taken as none", Where(file=name), "correct them"
        )
        for text in table.table.dropped
    ]
    tags = [(_tag(span.start, vaults), _tag(span.end, vaults)) for span in spans]
    findings += table.unfit({v.tag: v.where for v in vaults}, tags)
    out = []
    for span, (start, end) in zip(spans, tags, strict=True):
        length = float(plan_of(span.shape).length.sum())
        gaps = _mouth(span.shape.start, span.start, vaults), _mouth(span.shape.end, span.end, vaults)
        along = table.along(start, end, length, gaps, span.where)
        if isinstance(along, Along):
            span = _on_profile(span, along, vaults, options, name)
        elif along is not None:
            findings.append(along)
        out.append(span)
    return out


def _on_profile(span: Span, along: Along, vaults: Sequence[Vault], options: ReadOptions, name: str) -> Span:
    found = laid(span.shape, along.station, along.z, options, span.where)
    if isinstance(found, InputRefusedError):
        finding = Finding(found.code, "error", f"of {name}, {found.message}", span.where, found.remedy)
        return replace(span, shape=added(span.shape, finding))
    shape = _with_all(found, along.findings)
    if span.shape.elevated:
        text = f"the line has elevations of its own, {span_text(span.shape.start[2])} at its start: {name} is used"
        shape = added(
            shape, Finding("profile-rules", "warning", text, span.where, "leave out the one that is wrong")
        )
    for index, z in ((span.start, float(along.z[0])), (span.end, float(along.z[-1]))):
        invert = None if index is None else vaults[index].invert
        if index is not None and invert is not None and not abs(invert - z) <= AGREES:
            text = (
                f"{name} has {span_text(z)} at vault {vaults[index].tag}, whose invert is {span_text(invert)}: {name} "
                "is used"
            )
            at = placed(span.where, np.array([vaults[index].x, vaults[index].y]))
            shape = added(
                shape,
                Finding("profile-against-invert", "warning", text, at, "correct the one that is wrong"),
            )
    text = f"laid by {name}, {along.rows} of its rows between the ends: {_grades(shape.chain)}"
    steep = Finding("profile-doubtful", "warning", f"{text}, steeper than ducts are", span.where, _CHECK)
    shape = _judged(shape, Finding("grade-from-profile", "info", text, span.where), steep)
    return replace(span, shape=shape, elevation_from="profile")


def _own_ends(spans: Sequence[Span], vaults: Sequence[Vault]) -> list[tuple[float, Vault, Where]]:
    """Return the elevations that ducts have of their own where they meet vaults."""
    return [
        (point[2], vaults[index], span.where)
        for span in spans
        if span.elevation_from in ("line", "alignment")  # a bend schedule is held against its own levels
        for point, index in ((span.shape.start, span.start), (span.shape.end, span.end))
        if index is not None
    ]


def _by_inverts(span: Span, vaults: Sequence[Vault], otherwise: bool) -> Span:
    """Return a span laid between the inverts of its vaults; where one is missing that is said if nothing else serves."""
    ends = [None if v is None else vaults[v].invert for v in (span.start, span.end)]
    if otherwise and None in ends:
        return span
    tags = (_tag(span.start, vaults) or "", _tag(span.end, vaults) or "")
    shape = with_inverts(span.shape, ends[0], ends[1], span.where, tags)
    return replace(span, shape=shape, elevation_from="inverts" if shape.elevated else "")


def _grid(
    spans: Sequence[Span],
    vaults: Sequence[Vault],
    ground: Ground,
    options: ReadOptions,
    findings: list[Finding],
) -> Grid | None:
    places = [span.shape.start[:2] for span in spans] + [(v.x, v.y) for v in vaults]
    if options.terrain is None or not places:
        return None
    middle = np.median(np.array(places), axis=0)
    grid = opened(options.terrain, ground, (float(middle[0]), float(middle[1])))
    findings += grid.findings
    return grid


def _by_terrain(spans: Sequence[Span], options: ReadOptions, grid: Grid) -> list[Span]:
    flat = [k for k, span in enumerate(spans) if not span.elevation_from]
    if not flat:
        return list(spans)
    plans = [plan_of(spans[k].shape) for k in flat]
    stations = [grid.stations(float(plan.length.sum())) for plan in plans]
    under = grid.ground_at(np.vstack([plan.at(s) for plan, s in zip(plans, stations, strict=True)]))
    parts = np.split(under, np.cumsum([len(s) for s in stations])[:-1])
    out = list(spans)
    for k, station, part in zip(flat, stations, parts, strict=True):
        out[k] = _on_terrain(out[k], station, part, options, grid)
    return out


def _on_terrain(
    span: Span, station: FloatArray, ground: FloatArray, options: ReadOptions, grid: Grid
) -> Span:
    terrain = options.terrain
    z, findings = filled(station, ground, grid.file.name, span.where)
    shape = _with_all(span.shape, findings)
    if terrain is None or z is None:
        return replace(span, shape=shape)
    found = laid(shape, station, z - terrain.cover, options, span.where, terrain.scatter)
    if isinstance(found, InputRefusedError):
        finding = Finding(
            found.code, "error", f"of {grid.file.name}, {found.message}", span.where, found.remedy
        )
        return replace(span, shape=added(shape, finding))
    found = replace(found, findings=tuple(f for f in found.findings if f.code not in _OF_THE_FIT))
    text = (
        f"laid {span_text(terrain.cover)} under {grid.file.name}, within {span_text(terrain.scatter)} or so: "
        f"{_grades(found.chain)}"
    )
    steep = Finding("terrain-doubtful", "warning", f"{text}, steeper than ducts are", span.where, _CHECK)
    found = _judged(found, Finding("grade-from-terrain", "info", text, span.where), steep)
    return replace(span, shape=found, elevation_from="terrain")


def _judged(shape: Shape, fair: Finding, steep: Finding) -> Shape:
    """Return a shape with how it was laid: ``fair``, or the other where that is steeper than ducts are."""
    steepest = float(np.abs(np.tan(np.stack((shape.chain.grade_in, shape.chain.grade_out)))).max())
    return added(shape, fair if steepest <= STEEPEST else steep)


def _grades(chain: Chain) -> str:
    grades = 100.0 * np.tan(np.concatenate((chain.grade_in, chain.grade_out)))
    return f"grades from {grades.min():+.1f} to {grades.max():+.1f} %"


def _inverts_against(vaults: Sequence[Vault], grid: Grid) -> list[Finding]:
    """Say which inverts lie above the ground, or deeper under it than vaults are."""
    known = [v for v in vaults if v.invert is not None]
    if not known:
        return []
    ground = grid.ground_at(np.array([(v.x, v.y) for v in known]))
    found = []
    for vault, z in zip(known, ground.tolist(), strict=True):
        depth = z - (vault.invert or 0.0)
        if math.isfinite(z) and not -_ABOVE <= depth <= _DEEPEST:
            side = f"{span_text(depth)} under" if depth > 0 else f"{span_text(-depth)} above"
            found.append(
                Finding(
                    "invert-against-terrain", "warning",
                    f"the invert of vault {vault.tag}, {span_text(vault.invert or 0.0)}, lies {side} the ground of "
                    f"{grid.file.name}", placed(vault.where, np.array([vault.x, vault.y])),
                    "check the unit of both, and whether they count from one datum",
                )
            )  # fmt: skip
    return found


def _told(spans: Sequence[Span], options: ReadOptions, grid: Grid | None) -> Iterator[Finding]:
    """Say what elevations were taken from, and which ducts have none."""
    if not spans:
        return
    where = Where(file=spans[0].where.file)
    count = Counter(span.elevation_from for span in spans)
    used = [
        f"{count[source]} duct{'s' * (count[source] > 1)} from {_source(source, options, grid)}"
        for source in _WORDS
        if count[source]
    ]
    if used:
        flat = f", {count['']} flat" if count[""] else ""
        none = (
            "; the terrain served none, since other sources come first"
            if grid and not count["terrain"]
            else ""
        )
        yield Finding("elevation-sources", "info", f"elevations: {', '.join(used)}{flat}{none}", where)
    if count[""]:
        first = next(span for span in spans if not span.elevation_from)
        all_of = len(spans) == count[""]
        which = f"none of {len(spans)} ducts has" if all_of else f"{count['']} of {len(spans)} ducts have no"
        yield Finding(
            "elevation-none", "warning",
            f"{which} elevations, neither on the line nor by inverts, a profile or a terrain: taken as flat, and what "
            "slopes add to the tension or take from it is not known",
            placed(first.where, np.array(first.shape.start[:2])),
            "give z on the lines, inverts at the vaults, a profile table, or a terrain with its cover",
        )  # fmt: skip


def _source(source: ElevationFrom, options: ReadOptions, grid: Grid | None) -> str:
    if source == "profile" and options.profile is not None:
        digest = f", sha256 {options.profile.sha256[:12]}" if options.profile.sha256 else ""
        return f"{_WORDS[source]} ({options.profile.name}{digest})"
    if source == "terrain" and grid is not None:
        return f"{_WORDS[source]} ({Path(grid.file).name}, sha256 {grid.sha256[:12]})"
    return _WORDS[source]


def _tag(index: int | None, vaults: Sequence[Vault]) -> str | None:
    return None if index is None else vaults[index].tag


def _mouth(point: tuple[float, float, float], index: int | None, vaults: Sequence[Vault]) -> float:
    """Return how far from the middle of its vault a duct begins. [m]"""
    if index is None:
        return 0.0
    return min(_MOUTH, math.hypot(point[0] - vaults[index].x, point[1] - vaults[index].y))


def _with_all(shape: Shape, findings: Sequence[Finding]) -> Shape:
    return replace(shape, findings=(*shape.findings, *findings))

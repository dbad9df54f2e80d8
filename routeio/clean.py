"""Cleaning: raw lines and vault marks to lines between vaults, every repair on record with its place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from routeio import heights, marks, tidy
from routeio import outlines as outlines_among
from routeio.attach import attached
from routeio.findings import Finding, Where
from routeio.ground import doubtful_extent
from routeio.misses import grazed, missed, unused
from routeio.options import ReadOptions
from routeio.overlaps import without_doubles_joined, without_overlaps
from routeio.rawlines import RawSurvey
from routeio.stack import stacked
from routeio.stitch import Joined, stitched
from routeio.survey import Vault
from routeio.turnbacks import without_turning_back


@dataclass(frozen=True, eq=False)
class Cleaned:
    """Lines between vaults.

    Parameters
    ----------
    lines : tuple of Joined
        Each from a vault, or a loose end, to the next.
    vaults : tuple of Vault
        With unique tags, also those no line meets.
    findings : tuple of Finding
        Of the cleaning, in the order of its steps.
    """

    lines: tuple[Joined, ...]
    vaults: tuple[Vault, ...]
    findings: tuple[Finding, ...]


def clean(raw: RawSurvey, options: ReadOptions) -> Cleaned:
    """Clean a raw survey.

    Parameters
    ----------
    raw : RawSurvey
        As read.
    options : ReadOptions
        ``snap``.

    Returns
    -------
    Cleaned
        Nothing ambiguous is decided: such ends stay loose, and an error finding says where.
    """
    # columns make a line anew each time it is asked for
    drawn, outlines, findings = outlines_among.parted(raw.lines, raw.vaults, options.snap)
    raw = replace(raw, lines=tuple(drawn), vaults=(*raw.vaults, *outlines))
    vaults, said = marks.settled(raw.vaults, raw.ground.metres_per_elevation or raw.ground.metres_per_unit)
    findings += said
    findings += _extent(raw)
    lines, more = tidy.without_zero_length(raw.lines)
    findings += more
    lines, more = heights.settled(lines)
    findings += more
    lines, more = tidy.without_doubles(lines)
    findings += more
    findings += tidy.against_record(lines)
    tied, more = attached(lines, vaults, options.snap)
    findings += more
    tied, more = without_turning_back(tied, options.snap)
    findings += more
    tied, more = without_overlaps(tied, options.snap)
    findings += more
    joined, more = stitched(tied, options.snap)
    findings += more
    joined, more = without_doubles_joined(joined)
    findings += more
    findings += missed(joined, vaults, options.snap)
    findings += grazed(joined, vaults, options.snap)
    findings += unused(joined, vaults, options.snap)
    findings += _directions(joined, vaults, Where(file=raw.lines[0].where.file if raw.lines else ""))
    return Cleaned(tuple(joined), vaults, tuple(findings))


def _extent(raw: RawSurvey) -> list[Finding]:
    places = [stacked(raw.lines).points[:, :2], np.array([(v.x, v.y) for v in raw.vaults]).reshape(-1, 2)]
    every = np.vstack(places)
    if not every.size:
        return []
    where = Where(file=(raw.lines or raw.vaults)[0].where.file)
    return doubtful_extent(every.min(axis=0), every.max(axis=0), where)


def _directions(lines: Sequence[Joined], vaults: Sequence[Vault], where: Where) -> list[Finding]:
    """Say how many vaults with two ducts have them drawn head to head or tail to tail."""
    starts: Counter[int] = Counter()
    ends: Counter[int] = Counter()
    for line in lines:
        if line.tied.start is not None:
            starts[line.tied.start] += 1
        if line.tied.end is not None:
            ends[line.tied.end] += 1
    through = [v for v in range(len(vaults)) if starts[v] + ends[v] == 2]
    mixed = [v for v in through if starts[v] != 1]
    if not mixed:
        return []
    return [
        Finding(
            "directions-mixed",
            "info",
            f"{len(mixed)} of {len(through)} vaults with two ducts have them drawn head to head or tail to tail; "
            "the direction of drawing is not used",
            Where(file=where.file, x=vaults[mixed[0]].x, y=vaults[mixed[0]].y),
            "none needed",
        )
    ]

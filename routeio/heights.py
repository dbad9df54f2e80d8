"""Heights: which z values are elevations, and which only stand where none was known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mechanics.chain import IntArray
from mechanics.errors import FloatArray
from routeio.bulges import leg_lengths
from routeio.findings import Finding, Where, span_text
from routeio.rawlines import RawLine
from routeio.stack import stacked
from routeio.tangent import BoolArray
from routeio.tidy import placed

#: No duct lies lower or higher than this. [m]
LOWEST, HIGHEST = -1000.0, 9000.0
#: Written where no elevation is known. A drawing's elevations may be in feet of either kind.
SENTINELS = tuple(
    value * unit for value in (-999.0, -9999.0, 9999.0, 99999.0) for unit in (1.0, 0.3048, 1200.0 / 3937.0)
)
#: A zero no farther than this from its neighbours' elevations is not doubtful. [m]
FAR_FROM_ZERO = 3.0
#: A zero that needs a steeper grade than this to its neighbours is no elevation.
STEEPEST = 0.5
#: One elevation among this many zeros on a line is a stray.
_MANY = 3
#: Legs shorter than this in plan are drawn upright on purpose. [m]
_UPRIGHT = 1e-6


def settled(lines: Sequence[RawLine]) -> tuple[list[RawLine], list[Finding]]:
    """Turn z values that mean "no elevation" into NaN.

    Those are: values no duct can have (such as -9999), lines of nothing but zeros, lines of zeros with one stray, and
    zeros that no duct could reach from the elevations beside them. Any other zero is an elevation like every other.
    Vertices without one that lie between two known elevations of their line get theirs from those two.

    Parameters
    ----------
    lines : sequence of RawLine
        z in metres, NaN where the file has none.

    Returns
    -------
    lines : list of RawLine
        z is NaN where no elevation is known.
    findings : list of Finding
        What was taken for no elevation, and how often.
    """
    if not lines:
        return [], []
    stack = stacked(lines)
    owner = np.repeat(np.arange(len(lines)), np.diff(stack.first))
    z = stack.points[:, 2]
    where = Where(file=lines[0].where.file)
    findings: list[Finding] = []

    absurd = means_none(z)
    if absurd.any():
        values = ", ".join(
            span_text(float(v)) if abs(v) < 1e6 else f"{v:g} m" for v in np.unique(z[absurd])[:3]
        )
        first = lines[int(owner[np.flatnonzero(absurd)[0]])]
        findings.append(
            Finding(
                "elevation-absurd",
                "warning",
                f"{int(absurd.sum())} vertices have an elevation no duct has ({values}): dropped, taken as none",
                placed(first.where, first.points[0]),
                "correct them, or state elevation_units",
            )
        )
        z = np.where(absurd, np.nan, z)

    known = np.isfinite(z)
    zero = known & (z == 0.0)
    real = known & ~zero
    if not real.any():
        if zero.any():
            findings.append(
                Finding(
                    "elevation-all-zero",
                    "info",
                    "all elevations are zero: taken as none, so the ducts are flat where nothing else is known",
                    where,
                    "give elevations on the lines, or inverts at the vaults",
                )
            )
        z = np.where(zero, np.nan, z)
    elif zero.any():
        z = _without_strays(lines, owner, z, findings)
        z = _without_zeros(lines, owner, z, findings)
    z = _bridged(lines, stack.first, owner, z, findings)

    findings += _partial(lines, owner, z)
    changed = ~((z == stack.points[:, 2]) | (np.isnan(z) & np.isnan(stack.points[:, 2])))
    if not changed.any():
        return list(lines), findings
    which = set(owner[changed].tolist())
    points = np.column_stack((stack.points[:, :2], z))
    first = stack.first.tolist()
    return [
        RawLine(points[first[i] : first[i + 1]], p.bulge, p.ids, p.drawn, p.fields, p.where)
        if i in which
        else p
        for i, p in enumerate(lines)
    ], findings


def means_none(z: FloatArray) -> BoolArray:
    """Return which values stand for no elevation: none a duct can have, or written where none is known.

    Parameters
    ----------
    z : ndarray, shape (n,)
        NaN where there is none anyway. [m]

    Returns
    -------
    ndarray of bool, shape (n,)
        False where z is NaN.
    """
    sentinel = np.isclose(z[:, None], SENTINELS, rtol=0.0, atol=1e-6).any(axis=1)
    return np.asarray(np.isfinite(z) & ~((z > LOWEST) & (z < HIGHEST) & ~sentinel))


def _without_strays(
    lines: Sequence[RawLine], owner: IntArray, z: FloatArray, findings: list[Finding]
) -> FloatArray:
    """Drop the one elevation of lines that are zero otherwise, and the zeros of lines that have nothing else."""
    zeros = np.bincount(owner[z == 0.0], minlength=len(lines))
    reals = np.bincount(owner[np.isfinite(z) & (z != 0.0)], minlength=len(lines))
    stray = (reals == 1) & (zeros >= _MANY)
    if stray.any():
        first = lines[int(np.flatnonzero(stray)[0])]
        findings.append(
            Finding(
                "elevation-stray",
                "warning",
                f"{int(stray.sum())} lines have one elevation among {int(zeros[stray].sum())} zeros: none of it is "
                "taken for an elevation",
                placed(first.where, first.points[0]),
                "give elevations on all vertices, or inverts at the vaults",
            )
        )
    blank = (reals == 0) & (zeros > 0)
    if blank.any():
        first = lines[int(np.flatnonzero(blank)[0])]
        findings.append(
            Finding(
                "elevation-zero",
                "warning",
                f"{int(blank.sum())} lines have elevation 0 at every vertex where other lines have elevations: taken "
                "as none",
                placed(first.where, first.points[0]),
                "give elevations on all lines, or inverts at the vaults",
            )
        )
    return np.where((stray | blank)[owner], np.nan, z)


def _without_zeros(
    lines: Sequence[RawLine], owner: IntArray, z: FloatArray, findings: list[Finding]
) -> FloatArray:
    """Drop zeros that no duct could reach from the elevations beside them, and say which doubtful ones were kept."""
    z = z.copy()
    for i in np.unique(owner[z == 0.0]).tolist():
        rows = np.flatnonzero(owner == i)
        level, station = z[rows], _stations(lines[i])
        real = np.flatnonzero(np.isfinite(level) & (level != 0.0))
        for k in np.flatnonzero(level == 0.0).tolist():
            after = int(np.searchsorted(real, k))
            beside = real[max(after - 1, 0) : after + 1]
            beside = beside[np.abs(level[beside]) > FAR_FROM_ZERO]
            if not beside.size:
                continue
            apart = np.abs(station[beside] - station[k])
            grade = np.abs(level[beside]) / np.maximum(apart, _UPRIGHT)
            kept = bool((grade <= STEEPEST).any() or (apart <= _UPRIGHT).any())
            at = int(beside[np.argmin(apart)])
            beside_it = (
                f"elevation 0 at vertex {k + 1} beside {span_text(float(level[at]))} at vertex {at + 1}, "
                f"{span_text(float(apart.min()))} away"
            )
            place = placed(lines[i].where, lines[i].points[k])
            if kept:
                finding = Finding(
                    "elevation-zero-kept", "warning", f"{beside_it}: kept as an elevation", place,
                    "correct it if it stands for no elevation",
                )  # fmt: skip
            else:
                finding = Finding(
                    "elevation-zero", "warning",
                    f"{beside_it}: dropped, since it would need a grade above {100.0 * STEEPEST:.0f} %", place,
                    "give the vertex its elevation",
                )  # fmt: skip
            findings.append(finding)
            if not kept:
                z[rows[k]] = np.nan
    return z


def _bridged(
    lines: Sequence[RawLine], first: IntArray, owner: IntArray, z: FloatArray, findings: list[Finding]
) -> FloatArray:
    """Give vertices between two known elevations of their line the elevation of an even grade between them."""
    known = np.isfinite(z)
    part = np.bincount(owner[known], minlength=len(lines))
    some = np.flatnonzero((part >= 2) & (part < np.diff(first)))
    if not some.size:
        return z
    z = z.copy()
    for i in some.tolist():
        level, station = z[first[i] : first[i + 1]], _stations(lines[i])
        there = np.flatnonzero(np.isfinite(level))
        gaps = np.flatnonzero(np.isnan(level))
        gaps = gaps[(gaps > there[0]) & (gaps < there[-1])]
        if not gaps.size:
            continue
        level[gaps] = np.interp(station[gaps], station[there], level[there])
        findings.append(
            Finding(
                "elevation-interpolated",
                "warning",
                f"{gaps.size} of {level.size} vertices have no elevation and lie between others that have: "
                f"interpolated, the first at {span_text(float(level[gaps[0]]))}",
                placed(lines[i].where, lines[i].points[gaps[0]]),
                "give every vertex its elevation",
            )
        )
    return z


def _stations(line: RawLine) -> FloatArray:
    return np.concatenate(([0.0], np.cumsum(leg_lengths(line.points, line.bulge))))


def _partial(lines: Sequence[RawLine], owner: IntArray, z: FloatArray) -> list[Finding]:
    """Say where some lines of a survey have elevations and others none."""
    known = np.zeros(len(lines), dtype=bool)
    known[owner[np.isfinite(z)]] = True
    if not known.any() or known.all():
        return []
    first = lines[int(np.flatnonzero(~known)[0])]
    return [
        Finding(
            "elevation-mixed",
            "info",
            f"{int(known.sum())} lines have elevations and {int((~known).sum())} have none",
            placed(first.where, first.points[0]),
            "give inverts at the vaults where lines have none",
        )
    ]

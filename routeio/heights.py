"""Heights: which z values are elevations, and which only stand where none was known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from routeio.findings import Finding, Where
from routeio.rawlines import RawLine
from routeio.stack import stacked
from routeio.tidy import placed

#: No duct lies lower or higher than this. [m]
LOWEST, HIGHEST = -1000.0, 9000.0
#: Elevations on fewer than this part of a layer's vertices, among zeros, are strays.
STRAYS = 0.05
#: A zero this far from its line's other elevations is no elevation. [m]
FAR_FROM_ZERO = 3.0


def settled(lines: Sequence[RawLine]) -> tuple[list[RawLine], list[Finding]]:
    """Turn z values that mean "no elevation" into NaN.

    Those are: values no duct can have (such as -9999), zeros all over, a few strays among zeros, and zeros on a line
    or a layer whose other elevations are far from zero.

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

    absurd = np.isfinite(z) & ~((z > LOWEST) & (z < HIGHEST))
    if absurd.any():
        values = ", ".join(f"{v:g}" for v in np.unique(z[absurd])[:3])
        first = lines[int(owner[np.flatnonzero(absurd)[0]])]
        findings.append(
            Finding(
                "elevation-absurd",
                "warning",
                f"{int(absurd.sum())} vertices have an elevation no duct has ({values} m): taken as none",
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
    elif real.sum() < STRAYS * known.sum():
        stray = lines[int(owner[np.flatnonzero(real)[0]])]
        findings.append(
            Finding(
                "elevation-stray",
                "warning",
                f"{int(real.sum())} vertices have an elevation among {int(zero.sum())} zeros: all taken as none",
                placed(stray.where, stray.points[0]),
                "give elevations on all lines, or inverts at the vaults",
            )
        )
        z = np.where(known, np.nan, z)
    elif zero.any():
        z = _zeros_among_elevations(lines, owner, z, findings)

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


def _zeros_among_elevations(
    lines: Sequence[RawLine], owner: np.ndarray, z: np.ndarray, findings: list[Finding]
) -> np.ndarray:
    """Zeros on lines that have other elevations, or on a layer that has."""
    zero = z == 0.0
    real = np.isfinite(z) & ~zero
    on_line = np.full(len(lines), np.inf)
    np.minimum.at(on_line, owner[real], np.abs(z[real]))
    of_layer = float(np.abs(z[real]).min())
    nearest = np.where(np.isfinite(on_line), on_line, of_layer)
    wrong = zero & (nearest[owner] > FAR_FROM_ZERO)
    if wrong.any():
        which = np.unique(owner[wrong])
        first = lines[int(which[0])]
        findings.append(
            Finding(
                "elevation-zero",
                "warning",
                f"{int(wrong.sum())} vertices on {which.size} lines have elevation 0 where others have "
                f"{of_layer:.1f} m and more: taken as none",
                placed(first.where, first.points[0]),
                "give elevations on all lines, or inverts at the vaults",
            )
        )
    return np.where(wrong, np.nan, z)


def _partial(lines: Sequence[RawLine], owner: np.ndarray, z: np.ndarray) -> list[Finding]:
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

"""Elevations from elsewhere than the line: inverts at the vaults."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from mechanics.chain import Chain
from routeio.findings import Finding, Where, span_text
from routeio.heights import STEEPEST
from routeio.levels import AGREES
from routeio.shape import Shape
from routeio.survey import Vault

#: So many ends that all differ alike say why.
_SEVERAL = 3
#: Two that are alike within this share of the foot are the foot.
_ALIKE = 0.02


def without_false_zeros(
    vaults: Sequence[Vault], spans: Sequence[tuple[int | None, int | None, float]]
) -> tuple[tuple[Vault, ...], list[Finding]]:
    """Drop inverts of zero that stand for none: all of them where no other is known, else those out of reach.

    Parameters
    ----------
    vaults : sequence of Vault
        All.
    spans : sequence of (int or None, int or None, float)
        Of each line the index of the vault at its start and its end, and its length. [m]

    Returns
    -------
    vaults : tuple of Vault
        In the same order.
    findings : list of Finding
        One for each invert dropped.
    """
    zero = [v.invert == 0.0 for v in vaults]
    if not any(zero):
        return tuple(vaults), []
    blank = not any(v.invert for v in vaults)
    grades: dict[int, list[float]] = {}
    for start, end, length in spans:
        for a, b in ((start, end), (end, start)):
            if a is not None and b is not None and zero[a] and vaults[b].invert:
                grades.setdefault(a, []).append(abs(vaults[b].invert or 0.0) / max(length, 1e-6))
    out, findings = [], []
    for i, vault in enumerate(vaults):
        if zero[i] and (blank or (i in grades and min(grades[i]) > STEEPEST)):
            why = (
                "no vault has another"
                if blank
                else f"it would need a grade above {100.0 * STEEPEST:.0f} % to every vault beside it"
            )
            findings.append(
                Finding(
                    "level-dropped", "warning", f"invert 0 of vault {vault.tag} is taken as none: {why}", vault.where,
                    "write the elevation, or leave it blank",
                )
            )  # fmt: skip
            vault = replace(vault, z=None, invert=None)
        out.append(vault)
    return tuple(out), findings


def with_inverts(
    shape: Shape,
    start_z: float | None,
    end_z: float | None,
    where: Where | None = None,
    tags: tuple[str, str] = ("", ""),
) -> Shape:
    """Return a shape without elevations laid at the even grade between the inverts of its two vaults.

    Parameters
    ----------
    shape : Shape
        A shape that has elevations of its own is returned as it is.
    start_z, end_z : float or None
        Elevation of the duct at its start and its end; None or NaN where not known. [m]
    where : Where, optional
        Of the line, for findings.
    tags : tuple of 2 str, optional
        Of the vaults at its start and its end, for findings.

    Returns
    -------
    Shape
        With a finding that says where its grade comes from; unchanged but for a finding where an invert is missing.
    """
    where = where or Where()
    known = [z is not None and math.isfinite(z) for z in (start_z, end_z)]
    if shape.elevated or not any(known):
        return shape
    if not all(known):
        end = ("first", "last")[known.index(False)]
        x, y, _ = (shape.start, shape.end)[known.index(False)]
        tag = tags[known.index(False)]
        without = f"vault {tag} at its {end} end" if tag else f"its {end} end"
        return _noted(shape, Finding(
            "invert-missing", "warning", f"{without} has no invert, so the grade of the duct is not known: taken as flat",
            replace(where, x=x, y=y), "give the vault at that end an invert",
        ))  # fmt: skip
    z0, z1 = float(start_z or 0.0), float(end_z or 0.0)
    chain = shape.chain
    grade = math.atan2(z1 - z0, chain.total_length)
    slope = [grade] * len(chain)
    inclined = Chain(chain.length / math.cos(grade), slope, slope, chain.turn, chain.offsets)
    rise = f"between inverts at {span_text(z0)} and {span_text(z1)}"
    percent = 100.0 * math.tan(grade)
    if abs(percent) > 100.0 * STEEPEST:
        found = Finding(
            "invert-doubtful", "warning", f"laid at {percent:+.0f} % {rise}, steeper than ducts are", where,
            "check both inverts; one may be in another unit, a depth, or 0 for not known",
        )  # fmt: skip
    else:
        found = Finding("grade-from-inverts", "info", f"laid at an even {percent:+.2f} % {rise}", where)
    return _noted(
        replace(shape, chain=inclined, elevated=True, start=(*shape.start[:2], z0), end=(*shape.end[:2], z1)),
        found,
    )


def against_inverts(ends: Sequence[tuple[float, Vault, Where]]) -> list[Finding]:
    """Say where a duct's own elevation at a vault is another than the vault's invert.

    Parameters
    ----------
    ends : sequence of (float, Vault, Where)
        Elevation at an end of a duct, the vault there and the line. [m]

    Returns
    -------
    list of Finding
        ``line-against-invert``, one for each end that is off by more than 0.15 m, at its vault.
    """
    known = [(z, v.invert, v, where) for z, v, where in ends if v.invert is not None]
    off = [one for one in known if not abs(one[0] - one[1]) <= AGREES]
    most = 2 * len(off) > len(known)
    hint = _why_alike(np.array([one[:2] for one in off], dtype=np.float64)) if most else ""
    return [
        Finding(
            "line-against-invert", "warning",
            f"the line is at {span_text(z)} where it meets vault {vault.tag}, whose invert is {span_text(invert)}, "
            f"{span_text(abs(z - invert))} {'lower' if z > invert else 'higher'}: the line's own is used",
            replace(where, x=vault.x, y=vault.y), hint or "correct the one that is wrong",
        )
        for z, invert, vault, where in off
    ]  # fmt: skip


def at_ground(ends: Sequence[tuple[float, Vault, Where]]) -> list[Finding]:
    """Say where lines seem to be drawn on the ground and not where their ducts lie.

    Parameters
    ----------
    ends : sequence of (float, Vault, Where)
        As for :func:`against_inverts`.

    Returns
    -------
    list of Finding
        ``line-at-ground``, one for all, where most ends at vaults with a rim are at it or above.
    """
    known = [(z, v.rim, v, where) for z, v, where in ends if v.rim is not None]
    high = [one for one in known if one[0] > one[1] - AGREES]
    if len(high) < _SEVERAL or 2 * len(high) <= len(known):
        return []
    z, rim, vault, where = high[0]
    return [
        Finding(
            "line-at-ground", "warning",
            f"at {len(high)} of {len(known)} ends the lines are as high as the rims of their vaults, such as "
            f"{span_text(z)} at {vault.tag} with its rim at {span_text(rim)}: they may follow the ground and not the ducts",
            replace(where, x=vault.x, y=vault.y),
            "give the elevations of the ducts; or leave those of the lines out, and give inverts, or a terrain with its cover",
        )
    ]  # fmt: skip


def _why_alike(pairs: np.ndarray) -> str:
    """Return what it may be that makes elevations on lines and inverts differ alike; empty where they do not."""
    if len(pairs) < _SEVERAL:
        return ""
    apart = pairs[:, 0] - pairs[:, 1]
    ratios = pairs[:, 0] / np.where(pairs[:, 1] == 0.0, np.nan, pairs[:, 1])
    for ratio, lines, inverts in ((0.3048, "metres", "feet"), (1.0 / 0.3048, "feet", "metres")):
        if (np.abs(ratios / ratio - 1.0) < _ALIKE).all():
            return (
                f"each is {ratio:.3g} times the invert: the lines may be in {lines} and the inverts in {inverts}; write "
                "both in one unit"
            )
    if np.ptp(apart) <= AGREES:
        middle = float(np.median(apart))
        drawn = "be drawn at the top or the middle of the bank, or " if middle > 0.0 else ""
        return (
            f"all that differ do so by about {span_text(abs(middle))}: the lines may {drawn}count from another datum than "
            "the inverts"
        )
    return ""


def _noted(shape: Shape, finding: Finding) -> Shape:
    return replace(shape, findings=(*shape.findings, finding))

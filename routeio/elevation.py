"""Elevations from elsewhere than the line: inverts at the vaults."""

from __future__ import annotations

import math
from dataclasses import replace

from mechanics.chain import Chain
from routeio.findings import Finding, Where
from routeio.shape import Shape


def with_inverts(
    shape: Shape, start_z: float | None, end_z: float | None, where: Where | None = None
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
        return _noted(shape, Finding(
            "invert-missing", "warning", "only one end of the duct has an invert: taken as flat", where,
            "give the vault at the other end an invert",
        ))  # fmt: skip
    z0, z1 = float(start_z or 0.0), float(end_z or 0.0)
    chain = shape.chain
    grade = math.atan2(z1 - z0, chain.total_length)
    slope = [grade] * len(chain)
    inclined = Chain(chain.length / math.cos(grade), slope, slope, chain.turn, chain.offsets)
    return _noted(
        replace(
            shape, chain=inclined, elevated=True, start=(*shape.start[:2], z0), end=(*shape.end[:2], z1)
        ),
        Finding(
            "grade-from-inverts", "info",
            f"laid at an even {100.0 * math.tan(grade):+.2f} % between inverts at {z0:.2f} and {z1:.2f} m", where, "",
        ),
    )  # fmt: skip


def _noted(shape: Shape, finding: Finding) -> Shape:
    return replace(shape, findings=(*shape.findings, finding))

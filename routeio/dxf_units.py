"""Units of a drawing: what its header says, what the user says, and what is refused."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from routeio.dxf_open import Opened
from routeio.findings import Finding, InputRefusedError, Where
from routeio.ground import DXF_UNITS, UNITS, extents_in_units, unit_named
from routeio.options import ReadOptions
from routeio.rawlines import RawLine, RawVault

_METRIC = frozenset({"m", "km", "dm", "cm", "mm"})


def drawing_units(
    opened: Opened, options: ReadOptions, where: Where
) -> tuple[str | None, tuple[Finding, ...]]:
    """Return the unit of a drawing, or None where neither it nor the user says.

    Parameters
    ----------
    opened : Opened
        The drawing.
    options : ReadOptions
        ``units``; what the user states rules.
    where : Where
        The file.

    Returns
    -------
    unit : str or None
        A key of :data:`routeio.ground.UNITS`.
    findings : tuple of Finding
        Where the user and the file differ, or $INSUNITS and $MEASUREMENT.

    Raises
    ------
    InputRefusedError
        ``units-contradict``: a unit that is no unit of a drawing of the ground.
    """
    stated = unit_named(options.units, "units", where) if options.units else None
    code = opened.units or None
    own = DXF_UNITS.get(code) if code else None
    if stated:
        if own and own != stated:
            return stated, (
                Finding(
                    "units-overridden",
                    "warning",
                    f"the drawing says {own} ($INSUNITS {code}); {stated} is used, as stated",
                    where,
                    "correct the drawing's units, or leave units out",
                ),
            )
        return stated, ()
    if code and own is None:
        raise InputRefusedError(
            "units-contradict",
            f"the drawing's unit ($INSUNITS {code}) is none that the ground is drawn in",
            where,
            f"state units: one of {', '.join(UNITS)}",
        )
    if own and opened.measurement is not None and (own in _METRIC) != (opened.measurement == 1):
        system = "metric" if opened.measurement == 1 else "imperial"
        # $MEASUREMENT only picks linetypes and hatches, and libraries that write drawings leave it at metric
        return own, (
            Finding(
                "units-doubtful",
                "warning",
                f"the drawing says {own} ($INSUNITS {code}), which is used, and {system} ($MEASUREMENT "
                f"{opened.measurement})",
                where,
                "state units to be sure",
            ),
        )
    return own, ()


def no_units(
    opened: Opened,
    lines: Sequence[RawLine],
    vaults: Sequence[RawVault],
    where: Where,
    findings: tuple[Finding, ...],
) -> InputRefusedError:
    """Return the refusal of a drawing without units, saying how large it would be in the likely ones.

    Parameters
    ----------
    opened : Opened
        The drawing.
    lines, vaults : sequence
        As read, in file units.
    where : Where
        The file.
    findings : tuple of Finding
        So far.

    Returns
    -------
    InputRefusedError
        ``no-units``.
    """
    points = [line.points[:, :2] for line in lines] + [np.array([[v.x, v.y]]) for v in vaults]
    extent = ""
    if points:
        every = np.vstack(points)
        extent = "; what was chosen measures " + extents_in_units(every.min(axis=0), every.max(axis=0))
    said = "$INSUNITS is 0" if opened.units == 0 else "it has no $INSUNITS"
    return InputRefusedError(
        "no-units",
        f"the drawing does not say its units: {said}{extent}",
        where,
        'state units, such as "ft", "us_survey_foot" or "m"',
        findings,
    )

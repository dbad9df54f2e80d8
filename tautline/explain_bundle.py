"""How the bundle lies in each duct of a pull, worked by hand: weight correction and sidewall factor."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from tautline.document import Document
from tautline.explain_segment import number
from tautline.explain_units import Units

_SAME = 1e-6  # relative


@dataclass(frozen=True)
class Lie:
    """One arrangement of equal cables, as a hand calculation writes it.

    Parameters
    ----------
    name : str
        Of the arrangement.
    correction, factor : float
        Weight correction and sidewall factor.
    correction_text, factor_text : str
        Their formulas; s stands for d/(D - d), k for the weight correction.
    """

    name: str
    correction: float
    factor: float
    correction_text: str
    factor_text: str


def lies(count: int, diameter: float, inside: float) -> Iterator[Lie]:
    """Go through the arrangements of equal cables for which there is a formula.

    Parameters
    ----------
    count : int
        Cables.
    diameter, inside : float
        Of one cable, and of the duct inside. [m]

    Yields
    ------
    Lie
        None where the cables cannot lie so.

    References
    ----------
    [ieee1185] in docs/sources.md, from memory; two cables by statics.

    Examples
    --------
    >>> [(lie.name, round(lie.correction, 5)) for lie in lies(3, 0.041, 0.1274)]
    [('cradled', 1.30025), ('triangular', 1.13606)]
    """
    if count == 1:
        yield Lie("single", 1.0, 1.0, "1", "1")
        return
    s = diameter / (inside - diameter) if inside > diameter else math.inf
    if not s < 1:
        return
    root = 1 / math.sqrt(1 - s * s)
    if count == 2:
        yield Lie("pair", root, root / 2, "1 / sqrt(1 - s^2)", "k / 2")
    elif count == 3:
        cradled = 1 + 4 / 3 * s * s
        yield Lie("cradled", cradled, (3 * cradled - 2) / 3, "1 + (4/3) s^2", "(3 k - 2) / 3")
        yield Lie("triangular", root, root / 2, "1 / sqrt(1 - s^2)", "k / 2")
    elif count == 4:
        diamond = 1 + 2 * s * s
        yield Lie("diamond", diamond, diamond - 1, "1 + 2 s^2", "k - 1")


def in_each_duct(document: Document, pull: Document, units: Units) -> Iterator[str]:
    """Work the weight correction and the sidewall factor in every duct of a pull.

    Parameters
    ----------
    document : dict
        A result document.
    pull : dict
        One of its pulls.
    units : Units
        Of the hand calculation.

    Yields
    ------
    str
        Lines of text.
    """
    cables = document["bundle"]["cables"]
    sizes = {cable["diameter_m"] for cable in cables}
    segments = pull["segments"]
    rows = zip(
        segments["inside_diameter_m"],
        segments["guide"],
        segments["weight_correction"],
        segments["sidewall_factor"],
        strict=True,
    )
    for inside, guide, correction, factor in dict.fromkeys(rows):
        if guide:
            yield f"  on guides: weight correction {number(correction)}, sidewall factor q = {number(factor)}"
            continue
        yield f"  duct of D = {units.told_length(inside)} ({units.told_diameter(inside)}):"
        known = [
            lie
            for lie in (lies(len(cables), min(sizes), inside) if len(sizes) == 1 else ())
            if math.isclose(lie.correction, correction, rel_tol=_SAME)
            and math.isclose(lie.factor, factor, rel_tol=_SAME)
        ]
        if not known:
            yield (
                f"    weight correction {number(correction)}, sidewall factor q = {number(factor)}: not by one of the "
                "plain formulas; see the notes"
            )
            continue
        lie, diameter = known[0], min(sizes)
        if len(cables) > 1:
            yield f"    s = d / (D - d) = {units.length(diameter)} / {units.length(inside - diameter)} = {number(diameter / (inside - diameter))}"
        if len(cables) == 1:
            yield "    single: weight correction k = 1, sidewall factor q = 1"
            continue
        yield f"    {lie.name}: weight correction k = {lie.correction_text} = {number(correction)}"
        yield f"    sidewall factor q = {lie.factor_text} = {number(factor)}"

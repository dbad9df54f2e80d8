"""How the bundle lies in each duct of a pull, worked by hand: weight correction and sidewall factor."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

from tautline.explain_beside import Lain, unequal, with_beside
from tautline.explain_page import SAME, Page
from tautline.explain_piece import number


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
    [ieee1185] in docs/sources.md, from memory; two cables by statics; ``circle`` is a safe side of this project.

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
    if count >= 4:
        row = 1 + (count * count - 1) / 6 * s * s
        yield Lie("circle", row, row / 2, f"1 + ({count * count - 1}/6) s^2", "k / 2")


def in_each_duct(page: Page) -> Iterator[str]:
    """Work the weight correction and the sidewall factor in every duct of a pull.

    Parameters
    ----------
    page : Page
        The pull.

    Yields
    ------
    str
        Lines of text.
    """
    units, segments = page.units, page.pull["segments"]
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
        yield from _in_duct(page, inside, correction, factor)


def _in_duct(page: Page, inside: float, correction: float, factor: float) -> Iterator[str]:
    """Work them in one duct, by the first arrangement whose formulas give what the document says."""
    stated = {
        key: any(f"{key}:" in sentence for sentence in page.document["overrides"])
        for key in ("weight_correction", "sidewall_factor")
    }
    rows = (
        ("weight correction k", correction, "weight_correction"),
        ("sidewall factor q", factor, "sidewall_factor"),
    )
    if not all(stated.values()):
        for lain in _ways(page, inside):
            if (stated["weight_correction"] or math.isclose(lain.correction, correction, rel_tol=SAME)) and (
                stated["sidewall_factor"] or math.isclose(lain.factor, factor, rel_tol=SAME)
            ):
                yield from lain.lines
                for said, value, key in rows:
                    if stated[key]:
                        yield f"    in its place {said} = {number(value)}, stated by the job"
                return
    for said, value, key in rows:
        how = "stated by the job" if stated[key] else "not by one of the plain formulas; see the notes"
        yield f"    {said} = {number(value)}, {how}"


def _ways(page: Page, inside: float) -> Iterator[Lain]:
    """Go through the ways in which a bundle may lie in a duct, each worked out; the document's own arrangement first."""
    cables = page.bundle["cables"]
    main = [c for c in cables if c["role"] == "power"] or cables
    others, sizes = [c for c in cables if c not in main], [c["diameter_m"] for c in main]
    d, small = max(sizes), page.units.small
    if len(main) == 1 and len(others) == 1:
        yield unequal(page.units, inside, d, others[0]["diameter_m"])
    if len({*sizes}) > 1:
        return
    for lie in sorted(lies(len(main), d, inside), key=lambda lie: lie.name != page.pull["arrangement"]):
        lines: tuple[str, ...] = ("    single: weight correction k = 1, sidewall factor q = 1",)
        if len(main) > 1:
            s, k = number(d / (inside - d)), number(lie.correction)
            lines = (
                f"    s = d / (D - d) = {small(d)} / {small(inside - d)} = {s}",
                f"    {lie.name}: weight correction k = {lie.correction_text} = {_put(lie.correction_text, s, k)} = {k}",
                f"    sidewall factor q = {lie.factor_text} = {_put(lie.factor_text, s, k)} = {number(lie.factor)}",
            )
        own = Lain(lines, lie.correction, lie.factor)
        yield with_beside(own, main, others, inside, page.units) if others else own


def _put(formula: str, s: str, k: str) -> str:
    """Put numbers into a formula of a lie."""
    multiplied = re.sub(r"(?<=[\d)]) (?=[sk]\b)", " x ", formula)
    return re.sub(r"\bk\b", k, re.sub(r"\bs\b", s, multiplied))

"""How the bundle lies in each duct of a pull, worked by hand: weight correction and sidewall factor."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

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
    cables = page.bundle["cables"]
    main = [c for c in cables if c["role"] == "power"] or cables
    sizes = {c["diameter_m"] for c in main}
    d, beside = max(sizes), [c["diameter_m"] for c in cables if c not in main]

    def fits(k: float, q: float) -> bool:
        return math.isclose(k, correction, rel_tol=SAME) and math.isclose(q, factor, rel_tol=SAME)

    if len(main) == 1 and len(beside) == 1:
        unequal = _unequal(page, inside, d, beside[0])
        if fits(*unequal[1:]):
            yield from unequal[0]
            return
    for lie in lies(len(main), d, inside) if len(sizes) == 1 else ():
        with_them = _beside(lie, len(main), d, inside, beside)
        if not fits(with_them.correction, with_them.factor):
            continue
        if len(cables) == 1:
            yield "    single: weight correction k = 1, sidewall factor q = 1"
            return
        small, s, k = page.units.small, number(d / (inside - d)), number(lie.correction)
        yield f"    s = d / (D - d) = {small(d)} / {small(inside - d)} = {s}"
        yield f"    {lie.name}: weight correction k = {lie.correction_text} = {_put(lie.correction_text, s, k)} = {k}"
        yield f"    sidewall factor q = {lie.factor_text} = {_put(lie.factor_text, s, k)} = {number(lie.factor)}"
        if beside:
            yield "    with what lies beside them (no formula is published: a safe side), g its diameter, N the others:"
            yield f"    z = {_shares(page, d, beside)}"
            yield f"    k' = k + z (2 N + 1)/6 s^2 = {with_them.correction_text} = {number(with_them.correction)}"
            yield f"    q' = max(q k'/k, k'/2 (1 + z/6)) = {with_them.factor_text} = {number(with_them.factor)}"
        return
    own = next(
        (
            lie
            for lie in lies(len(main), d, inside)
            if len(sizes) == 1 and page.pull["arrangement"] == lie.name
        ),
        None,
    )
    for said, value, key in (
        ("weight correction k", correction, "weight_correction"),
        ("sidewall factor q", factor, "sidewall_factor"),
    ):
        how = "not by one of the plain formulas; see the notes"
        if any(f"{key}:" in sentence for sentence in page.document["overrides"]):
            how = "stated by the job"
        elif own and not beside:
            by = own.correction_text if key == "weight_correction" else own.factor_text
            if math.isclose(
                value, own.correction if key == "weight_correction" else own.factor, rel_tol=SAME
            ):
                how = f"{own.name} by {by}, s = d / (D - d) = {number(d / (inside - d))}, its own k {number(own.correction)}"
        yield f"    {said} = {number(value)}, {how}"


def _put(formula: str, s: str, k: str) -> str:
    """Put numbers into a formula of a lie."""
    multiplied = re.sub(r"(?<=[\d)]) (?=[sk]\b)", " x ", formula)
    return re.sub(r"\bk\b", k, re.sub(r"\bs\b", s, multiplied))


def _size(d: float, beside: Sequence[float]) -> float:
    """Return how much of one more cable in a row those beside the others are."""
    return math.fsum(g / d if g < 0.5 * d else 1.0 for g in beside)


def _shares(page: Page, d: float, beside: Sequence[float]) -> str:
    small = page.units.small
    terms = [f"{small(g)} / {small(d)}" if g < 0.5 * d else "1" for g in beside]
    if len(terms) == 1:
        return (
            "1, as g is half of d or more"
            if terms == ["1"]
            else f"g/d = {terms[0]} = {number(_size(d, beside))}"
        )
    return (
        f"sum of g/d, or of 1 where g is half of d or more = {' + '.join(terms)} = {number(_size(d, beside))}"
    )


def _beside(lie: Lie, n: int, d: float, inside: float, beside: Sequence[float]) -> Lie:
    """Return a lie with ground or fibre cables beside the ``n`` others."""
    if not beside:
        return lie
    s, z = d / max(inside - d, d), _size(d, beside)
    k = lie.correction + z * (2 * n + 1) / 6 * s * s
    one, other = lie.factor * k / lie.correction, 0.5 * k * (1 + z / 6)
    put_in = f"{number(lie.correction)} + {number(z)} x (2 x {n} + 1) / 6 x {number(s)}^2"
    factors = (
        f"max({number(lie.factor)} x {number(k)} / {number(lie.correction)}, "
        f"{number(k)} / 2 x (1 + {number(z)} / 6))"
    )
    return Lie(lie.name, k, max(one, other), put_in, factors)


def _unequal(page: Page, inside: float, d: float, g: float) -> tuple[tuple[str, ...], float, float]:
    """Work out the worst position of two unequal cables, by statics: their centres (D - d)/2 and (D - g)/2 from the axis."""
    a, b, apart = inside - d, inside - g, d + g
    cosine = (a * a + b * b - apart**2) / (2 * a * b)
    k = math.sqrt(2 / (1 + cosine))
    one, other, between = (page.units.small(length) for length in (a, b, apart))
    return (
        (
            f"    a cable of d with one of g beside it, by statics: a = D - d = {one}, b = D - g = {other}",
            f"    C = (a^2 + b^2 - (d + g)^2) / (2 a b) = ({one}^2 + {other}^2 - {between}^2) / (2 x {one} x {other}) = "
            f"{number(cosine)}",
            f"    weight correction k = sqrt(2 / (1 + C)) = sqrt(2 / (1 + {number(cosine)})) = {number(k)}",
            f"    sidewall factor q = max(1, k/2) = max(1, {number(k)} / 2) = {number(max(1.0, k / 2))}",
        ),
        k,
        max(1.0, k / 2),
    )

"""How the value of each check on the duct and the way arises: bends, clearance, fill, jam, slopes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from tautline.document import Document
from tautline.explain_page import SAME, Page, bend
from tautline.explain_segment import number
from tautline.explain_values import Shown

_ENCLOSING = (
    1.0,
    2.0,
    1.0 + 2.0 / math.sqrt(3.0),
    1.0 + math.sqrt(2.0),
    1.0 + 1.0 / math.sin(math.pi / 5),
    3.0,
)
"""Diameter of the smallest circle around one to six equal circles of diameter 1."""


def _radius(page: Page, check: Document) -> Shown:
    """The tightest bend at its inside; on guides only while pulling."""
    s, small = page.pull["segments"], page.units.small_unit / page.units.length_unit
    found = []
    for i in range(len(page.pieces)):
        radius = page.drawn(i).radius
        if radius is not None and not (s["guide"][i] and check["name"] == "bending_radius"):
            half = (s["inside_diameter_m"][i] or 0.0) / 2 / page.units.small_unit
            found.append((radius / small - half, i, radius / small, half))
    if not found:
        return Shown(())
    inside, i, radius, half = min(found)
    told = f"{number(inside)} {page.units.small_name}"
    return Shown(
        (
            f"R - D/2 = {number(radius)} - {number(half)} = {told}, the tightest at its inside, segment {i + 1}",
        ),
        inside * page.units.small_unit,
    )


def _bends(page: Page, check: Document) -> Shown:
    guide = page.pull["segments"]["guide"]
    angles = [(i, bend(page.drawn(i))) for i in range(len(page.pieces)) if not guide[i]]
    bent = [(i, a) for i, a in angles if a > 0]
    total = math.fsum(a for _, a in bent)
    if not bent:
        return Shown(("no bend in the ducts",), 0.0)
    if len(bent) == 1:
        only = f"the only bend in ducts, segment {bent[0][0] + 1} = {number(math.degrees(total))} deg"
        return Shown((only,), total)
    terms = " + ".join(number(math.degrees(a)) for _, a in bent)
    listed = ", ".join(str(i + 1) for i, _ in bent)
    lines = [
        f"sum of the bends in ducts = {terms} = {number(math.degrees(total))} deg",
        f"of segments {listed}; each |turn| cos g on a steady grade, |g1 - g0| in a sag or crest",
    ]
    if any(page.drawn(i).turn and page.drawn(i).grade_in != page.drawn(i).grade_out for i, _ in bent):
        lines.append(
            "where both change: the integral of sqrt(g'^2 + (h' cos g)^2), by Gauss's rule of five points"
        )
    return Shown(tuple(lines), total)


def _sizes(page: Page) -> tuple[list[float], list[float]]:
    """Return the diameters of the cables that make the arrangement, and of those beside them, as they are read."""
    cables = page.bundle["cables"]
    main = [c for c in cables if c["role"] == "power"] or cables
    u = page.units.small_unit
    return [c["diameter_m"] / u for c in main], [c["diameter_m"] / u for c in cables if c not in main]


def _gaps(page: Page, D: float) -> Iterator[tuple[str, str, float]]:
    """Go through the formulas of the clearance: formula, numbers put in, result, in the unit of diameters."""
    main, beside = _sizes(page)
    n, d = len(main), max(main)
    less = "".join(f" - {number(g)}" for g in beside)
    off, word = math.fsum(beside), " - what lies on top" if beside else ""
    s = d / (D - d) if d < D else math.inf
    if n == 1:
        yield f"D - d{word}", f"{number(D)} - {number(d)}{less}", D - d - off
    if n > 1 and s < 1:
        root, gap = math.sqrt(1 - s * s), number(D - d)
        if n == 2:
            yield (
                f"(D - d)/2 (1 + sqrt(1 - s^2)){word}",
                f"{gap} / 2 x (1 + sqrt(1 - {number(s)}^2)){less}",
                (D - d) / 2 * (1 + root) - off,
            )
        if n == 3:
            yield (
                f"triangular, D/2 - (1 + sqrt(3))/2 d + (D - d)/2 sqrt(1 - s^2){word}",
                f"{number(D)} / 2 - (1 + sqrt(3)) / 2 x {number(d)} + {gap} / 2 x sqrt(1 - {number(s)}^2){less}",
                D / 2 - (1 + math.sqrt(3)) / 2 * d + (D - d) / 2 * root - off,
            )
        if n == 4:
            yield (
                f"(D - d) (1 - 2 s^2){word}",
                f"{gap} x (1 - 2 x {number(s)}^2){less}",
                (D - d) * (1 - 2 * s * s) - off,
            )
    if n > 1:
        yield (
            f"D - diameter of the bundle drawn round{word}",
            f"{number(D)} - {number(_ENCLOSING[n - 1])} x {number(d)}{less}",
            D - _ENCLOSING[n - 1] * d - off,
        )


def _clearance(page: Page, check: Document) -> Shown:
    i = _first(page, check)
    D = page.pull["segments"]["inside_diameter_m"][i] / page.units.small_unit
    stated = check["value"] / page.units.small_unit
    for formula, put_in, gap in _gaps(page, D):
        if abs(gap - stated) <= SAME * D:
            told = f"{number(gap)} {page.units.small_name}"
            lines = [f"{formula} = {put_in} = {told}", f"D of the duct of segment {i + 1}"]
            if "s^2" in formula:
                d = max(_sizes(page)[0])
                lines.insert(0, f"s = d / (D - d) = {number(d)} / {number(D - d)} = {number(d / (D - d))}")
            return Shown(tuple(lines), gap * page.units.small_unit)
    return Shown(())


def _first(page: Page, check: Document) -> int:
    """Return the segment at whose start a check stands."""
    station, where = page.pull["profile"]["station_m"], check["station_m"] or 0.0
    s = page.pull["segments"]
    ducts = [i for i in range(len(page.pieces)) if not s["guide"][i]]
    return min(ducts, key=lambda i: abs(station[i] - where))


def _fill(page: Page, check: Document) -> Shown:
    D = page.pull["segments"]["inside_diameter_m"][_first(page, check)]
    sizes = [c["diameter_m"] for c in page.bundle["cables"]]
    terms = " + ".join(f"{sizes.count(d)} x {page.units.small(d)}^2" for d in dict.fromkeys(sizes))
    found = math.fsum(d * d for d in sizes) / (D * D)
    return Shown((f"sum of d^2 / D^2 = ({terms}) / {page.units.small(D)}^2 = {number(found)}",), found)


def _jam(page: Page, check: Document) -> Shown:
    allowance = page.rules.get("jam_allowance")
    if allowance is None:
        return Shown(())
    D = page.pull["segments"]["inside_diameter_m"][_first(page, check)]
    sizes = [c["diameter_m"] for c in page.bundle["cables"] if c["role"] == "power"]
    mean = math.fsum(sizes) / len(sizes)
    found = allowance * D / mean
    return Shown(
        (
            f"{number(allowance)} D / d = {number(allowance)} x {page.units.small(D)} / {page.units.small(mean)} = {number(found)}",
        ),
        found,
    )


def _creep(page: Page, check: Document) -> Shown:
    s = page.pull["segments"]
    laws = s.get("laws")
    worst, at, friction = -1.0, 0, 0.0
    for i, piece in enumerate(page.pieces):
        steep = max(abs(piece.grade_in), abs(piece.grade_out))
        light = laws[s["law"][i]]["lubricated"] if laws else s["friction"][i]
        if not s["guide"][i] and steep > 0 and math.tan(min(steep, 1.57)) / light > worst:
            worst, at, friction = math.tan(min(steep, 1.57)) / light, i, light
    if worst < 0:
        return Shown(())
    piece = page.pieces[at]
    steep = min(max(abs(piece.grade_in), abs(piece.grade_out)), 1.57)
    put_in = f"tan({number(steep)}) = {number(worst * friction)}"
    return Shown((f"tan g = {put_in}, the steepest for its friction, segment {at + 1}",), math.tan(steep))


_WORKED: dict[str, Callable[[Page, Document], Shown]] = {
    "bending_radius": _radius,
    "bending_radius_pulling": _radius,
    "bend_total": _bends,
    "clearance": _clearance,
    "clearance_advice": _clearance,
    "fill": _fill,
    "jam_ratio": _jam,
    "creep": _creep,
}


def fitting(page: Page, check: Document) -> Shown | None:
    """Work out the value of a check on the duct or the way.

    Parameters
    ----------
    page : Page
        The pull.
    check : dict
        One of its checks.

    Returns
    -------
    Shown or None
        None where it is no such check.
    """
    worker = _WORKED.get(check["name"])
    return worker(page, check) if worker else None

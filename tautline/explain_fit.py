"""How the value of each check on the duct and the way arises: bends, clearance, fill, jam, slopes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from mechanics.packing import ENCLOSING, enclosing
from tautline.document import Document
from tautline.explain_page import SAME, Page, bend
from tautline.explain_piece import number
from tautline.explain_values import Shown


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


def _gaps(page: Page, D: float) -> Iterator[tuple[tuple[str, ...], str, float]]:
    """Go through the ways to work out the clearance: lines before it, the formula with its numbers, what comes out."""
    main, beside = _sizes(page)
    sizes = sorted((*main, *beside), reverse=True)
    d, around = max(main), enclosing(sizes)
    if len(main) == 3 and 2 * d < D:
        less, word = "".join(f" - {number(g)}" for g in beside), " - what lies on top" if beside else ""
        s = d / (D - d)
        yield (
            (f"s = d / (D - d) = {number(d)} / {number(D - d)} = {number(s)}",),
            f"triangular, D/2 - (1 + sqrt(3))/2 d + (D - d)/2 sqrt(1 - s^2){word} = {number(D)} / 2 - (1 + sqrt(3)) / 2 x "
            f"{number(d)} + {number(D - d)} / 2 x sqrt(1 - {number(s)}^2){less}",
            D / 2 - (1 + math.sqrt(3)) / 2 * d + (D - d) / 2 * math.sqrt(1 - s * s) - math.fsum(beside),
        )
    yield _circle(sizes, around), f"D - c = {number(D)} - {number(around)}", D - around


def _circle(sizes: list[float], around: float) -> tuple[str, ...]:
    """Say how the smallest circle around some cables is found, in which they leave the most room however they lie."""
    n, c = len(sizes), number(around)
    if n == 1:
        return ("c the diameter of the cable",)
    if math.isclose(sizes[0], sizes[-1]):
        times = number(ENCLOSING[n - 1])
        return (
            f"the smallest circle around {n} equal cables: c = {times} d = {times} x {number(sizes[0])} = {c}",
        )
    if math.isclose(around, sizes[0] + sizes[1]):
        return (f"one cable over the other: c = {number(sizes[0])} + {number(sizes[1])} = {c}",)
    if n != 3:
        return ("c the least circle in which a way was found to lay the cables, by search",)
    a, b, e = (number(2 / d) for d in sizes)
    return (
        f"the smallest circle around the cables, their 2/d being k1 = {a}, k2 = {b}, k3 = {e}:",
        f"c = 2/(2 sqrt(k1 k2 + k2 k3 + k3 k1) - k1 - k2 - k3) = 2 / (2 x sqrt({a} x {b} + {b} x {e} + {e} x {a}) - "
        f"{a} - {b} - {e}) = {c}",
    )


def _clearance(page: Page, check: Document) -> Shown:
    i = _first(page, check)
    unit = page.units.small_unit
    D = page.pull["segments"]["inside_diameter_m"][i] / unit
    for before, worked, gap in _gaps(page, D):
        if abs(gap - check["value"] / unit) <= SAME * D:
            told = f"{number(gap)} {page.units.small_name}"
            return Shown((*before, f"{worked} = {told}", f"D of the duct of segment {i + 1}"), gap * unit)
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
    "arrangement": _fill,
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

"""How the value of each check that hangs on the tension arises, with the numbers put in."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from tautline.document import Document
from tautline.explain_held import braked, depends_on_pressing
from tautline.explain_level import Level, peak
from tautline.explain_page import Page, bend
from tautline.explain_piece import number
from tautline.explain_tensions import sidewall

_INTEGRATED = "by integration, as friction depends on how hard the cable is pressed"


@dataclass(frozen=True)
class Shown:
    """A number worked out.

    Parameters
    ----------
    lines : tuple of str
        Equation, numbers, result.
    value : float or None
        What comes out, SI, to be held against the document; None where there is no equation.
    """

    lines: tuple[str, ...]
    value: float | None = None


def _greatest(page: Page, check: Document) -> Shown:
    peaks = [max(b, t) for b, t in zip(page.before, page.pull["profile"]["tension_N"], strict=True)]
    k = peaks.index(max(peaks))
    return Shown(
        (f"T = {page.units.told_force(peaks[k])}, the greatest on the way, {page.where(k)}",), peaks[k]
    )


def _sidewall(page: Page, check: Document) -> Shown:
    pressures = page.pull["profile"]["sidewall_N_per_m"]
    k = pressures.index(max(pressures))
    worked = sidewall(page, k - 1) if k else None
    if worked is None:
        return Shown(("nothing is pressed: no bend",), 0.0)
    return Shown(
        (
            f"{worked[0]}, the greatest, in segment {k}",
            "by p = q T / (R - D/2), q the share of the hardest-pressed cable in that duct (THE BUNDLE IN ITS DUCTS)",
        ),
        worked[1],
    )


def _winch(page: Page, check: Document) -> Shown:
    winch = page.pull["profile"].get("winch_N", ())
    rope = page.rules.get("rope_friction")
    if not winch or rope is None:
        return Shown(())
    k = winch.index(max(winch))
    guides, segments = page.pull["segments"]["guide"], page.pull["segments"]
    lines = [f"the rope's, when the head of the cable is {'at the feed' if k == 0 else page.where(k)}"]
    terms, rubbed = [], 0.0
    frictions = dict.fromkeys(
        segments["friction"][i] if guides[i] else rope
        for i in range(k, len(page.pieces))
        if bend(page.pieces[i])
    )
    for n, friction in enumerate(frictions, 1):
        ahead = [
            i
            for i in range(k, len(page.pieces))
            if bend(page.pieces[i]) and (segments["friction"][i] if guides[i] else rope) == friction
        ]
        angles = [bend(page.pieces[i]) for i in ahead]
        on = " on guides" if guides[ahead[0]] else " in ducts"
        lines.append(
            f"a{n} = bends{on} ahead, segments {', '.join(str(i + 1) for i in ahead)} = {_sum(angles)} = "
            f"{number(math.fsum(angles))} rad"
            if len(angles) > 1
            else f"a{n} = bend{on} ahead, segment {ahead[0] + 1} = {number(angles[0])} rad"
        )
        terms.append((f"f{n} a{n}", f"{number(friction)} x {number(math.fsum(angles))}"))
        rubbed += friction * math.fsum(angles)
    tension = page.before[k]
    found = tension * math.exp(rubbed)
    if not terms:
        return Shown((*lines, f"no bend is ahead of it: T = {page.units.told_force(tension)}"), tension)
    lines.append(
        f"T e^({' + '.join(t[0] for t in terms)}) = {page.units.force(tension)} e^({' + '.join(t[1] for t in terms)}) = "
        f"{page.units.told_force(found)}"
    )
    return Shown(tuple(lines), found)


def _sum(terms: list[float]) -> str:
    return " + ".join(number(t) for t in terms)


def _restart_tension(page: Page, check: Document) -> Shown:
    factor, last = page.rules.get("restart_factor"), _last_stop(page)
    if factor is None or last is None:
        return Shown(())
    peaks = [max(b, t) for b, t in zip(page.before, page.pull["profile"]["tension_N"], strict=True)][
        : last + 1
    ]
    k = peaks.index(max(peaks))
    said = f"{page.where(k)}, the greatest up to {page.pull['relube'][-1]}, the last stop"
    put_in = f"{number(factor)} x {page.units.force(peaks[k])}"
    return Shown(
        (f"factor x T = {put_in} = {page.units.told_force(factor * peaks[k])}", f"T {said}"),
        factor * peaks[k],
    )


def _restart_sidewall(page: Page, check: Document) -> Shown:
    factor, last = page.rules.get("restart_factor"), _last_stop(page)
    if factor is None or last is None:
        return Shown(())
    pressures = page.pull["profile"]["sidewall_N_per_m"][: last + 1]
    k = pressures.index(max(pressures))
    put_in = f"{number(factor)} x {page.units.per_length(pressures[k])}"
    told = page.units.told_per_length(factor * pressures[k])
    where = f"p that of segment {k}, the greatest up to {page.pull['relube'][-1]}, the last stop"
    return Shown(
        (f"factor x p = {put_in} = {told}", where if k else "no bend up to the last stop"),
        factor * pressures[k],
    )


def _last_stop(page: Page) -> int | None:
    return page.crossed(page.pull["relube"][-1]) if page.pull["relube"] else None


def _braked_tension(page: Page, check: Document) -> Shown:
    if depends_on_pressing(page):
        return Shown((f"T = {page.units.told_force(check['value'])}, {_INTEGRATED}",))
    found, unit = [abs(t) for t in braked(page)], page.units.force_unit
    k = found.index(max(found))
    inside = [(level, i) for i, level in enumerate(_levels(page)) if level]
    level, i = max(inside, key=lambda one: one[0].tension, default=(None, 0))
    if level and level.tension * unit > found[k]:
        told = page.units.told_force(level.tension * unit)
        return Shown(
            (f"T = {told}, inside segment {i + 1}, with the reel braked (HELD BACK)", *level.lines()),
            level.tension * unit,
        )
    return Shown(
        (f"T = {page.units.told_force(found[k])}, {page.where(k)}, with the reel braked (HELD BACK)",),
        found[k],
    )


def _levels(page: Page) -> list[Level | None]:
    """Return where the tension peaks inside each segment with the reel braked."""
    added = (0.0, *page.pull["segments"]["added_N"])
    return [
        peak(piece, (t + a) / page.units.force_unit)
        for piece, t, a in zip(page.pieces, braked(page), added, strict=False)
    ]


def _braked_sidewall(page: Page, check: Document) -> Shown:
    if depends_on_pressing(page):
        return Shown((f"p = {page.units.told_per_length(check['value'])}, {_INTEGRATED}",))
    found, added, levels = braked(page), (0.0, *page.pull["segments"]["added_N"]), _levels(page)
    worked = []
    for i, level in enumerate(levels):
        inside = level.tension * page.units.force_unit if level else 0.0
        pressed = sidewall(page, i, (max(found[i] + added[i], inside), found[i + 1]))
        if pressed is not None:
            worked.append((pressed, i))
    if not worked:
        return Shown(("nothing is pressed: no bend",), 0.0)
    (text, value), i = max(worked, key=lambda one: one[0][1])
    at = levels[i]
    how = at.lines() if at else ()
    return Shown((f"{text}, the greatest, in segment {i + 1}, with the reel braked (HELD BACK)", *how), value)


def _reel(page: Page, check: Document) -> Shown:
    slack, units = page.rules.get("slack"), page.units
    if slack is None:
        return Shown(())
    length = page.pull["profile"]["station_m"][-1]
    put_in = f"{units.length(length)} + 2 x {units.length(slack)}"
    told = units.told_length(length + 2 * slack)
    return Shown(
        (f"length of the pull, vaults and guides included, + 2 x slack = {put_in} = {told}",),
        length + 2 * slack,
    )


_WORKED: dict[str, Callable[[Page, Document], Shown]] = {
    "max_tension": _greatest,
    "conductor_tension": _greatest,
    "eye_tension": _greatest,
    "grip_tension": _greatest,
    "sheath_tension": _greatest,
    "max_sidewall": _sidewall,
    "puller_tension": _winch,
    "restart_tension": _restart_tension,
    "restart_sidewall": _restart_sidewall,
    "braked_tension": _braked_tension,
    "braked_sidewall": _braked_sidewall,
    "reel_length": _reel,
}


def strained(page: Page, check: Document) -> Shown | None:
    """Work out the value of a check on tension, sidewall pressure or cable length.

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

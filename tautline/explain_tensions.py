"""Tension and sidewall pressure of a pull, worked segment by segment."""

from __future__ import annotations

import math
from collections.abc import Iterator

from tautline.explain_friction import friction_lines, slid
from tautline.explain_held import backwards
from tautline.explain_page import SAME, Page
from tautline.explain_segment import Piece, number, work


def tension_lines(page: Page) -> Iterator[str]:
    """Work every segment from the tension the one before it was left with.

    Parameters
    ----------
    page : Page
        The pull.

    Yields
    ------
    str
        Lines of text.
    """
    pull, units = page.pull, page.units
    segments, profile = pull["segments"], pull["profile"]
    way = slid(pull)
    tension, worst = pull["entry_tension_N"] / units.force_unit, 0.0
    largest = max(map(abs, profile["tension_N"])) / units.force_unit
    vaults = {round(p["station_m"], 6): p["tag"] for p in pull["passes"]}
    for i, piece in enumerate(page.pieces):
        tag = vaults.pop(round(profile["station_m"][i], 6), None)
        if tag is not None:
            yield f"  -- at {tag}{', re-lubricated' if tag in pull['relube'] else ''} --"
        worked = work(piece, tension)
        yield f"  {i + 1}. {title(page, i)}"
        for line in friction_lines(segments, i, way, units):
            yield "     " + line
        yield "     " + given(page, piece, tension)
        for line in worked.lines:
            yield "     " + line
        tension = worked.tension
        added = segments["added_N"][i] / units.force_unit
        if added:
            yield from _assisted(page, i, tension, added)
            tension += added
        yield f"     T2 = {units.told_force(tension * units.force_unit)}"
        pressed = sidewall(page, i)
        if pressed is not None:
            yield "     sidewall " + pressed[0]
            stated = profile["sidewall_N_per_m"][i + 1]
            if abs(pressed[1] - stated) > SAME * stated:
                yield f"     the document says {units.told_per_length(stated)}: the greatest on the segment"
        stated = profile["tension_N"][i + 1] / units.force_unit
        apart = abs(tension - stated) / max(1.0 / units.force_unit, abs(stated), 1e-3 * largest)
        worst = max(worst, apart)
        if apart > SAME:
            yield f"     THE DOCUMENT SAYS {units.told_force(profile['tension_N'][i + 1])} HERE"
            tension = stated
    yield (
        f"  exit tension {units.told_force(pull['exit_tension_N'])}; "
        f"greatest on the way {units.told_force(pull['max_tension_N'])}"
    )
    if worst <= SAME:
        yield f"  every T2 above agrees with the result document to {SAME:g}"
    else:
        yield f"  NOT EVERY T2 ABOVE AGREES WITH THE RESULT DOCUMENT: apart by up to {worst:.2g} of the tension"


def given(page: Page, piece: Piece, entering: float) -> str:
    """Say what is put into the equation of a segment.

    Parameters
    ----------
    page : Page
        The pull.
    piece : Piece
        The segment.
    entering : float
        Tension entering it, in the page's unit.

    Returns
    -------
    str
        One line.
    """
    dry = page.pull["weight_N_per_m"] * page.units.length_unit / page.units.force_unit
    wet = f", w = {number(piece.weight)} in water" if piece.weight != dry else ""
    return (
        f"L = {number(piece.length)}, c = {number(piece.friction)} x {number(piece.correction)} = "
        f"{number(piece.c)}{wet}, T1 = {number(entering)}"
    )


def title(page: Page, i: int) -> str:
    """Say what a segment is, and where it was found.

    Parameters
    ----------
    page : Page
        The pull.
    i : int
        Which segment, from 0.

    Returns
    -------
    str
        One line.
    """
    piece, segments, units = page.pieces[i], page.pull["segments"], page.units
    parts = [piece.kind]
    if abs(piece.turn) > 0:
        parts.append(f"{math.degrees(abs(piece.turn)):.4g} deg")
    if piece.grade_in or piece.grade_out:
        one, other = math.degrees(piece.grade_in), math.degrees(piece.grade_out)
        parts.append(f"grade {one:.4g} deg" + (f" to {other:.4g} deg" if one != other else ""))
    if piece.radius is not None:
        parts.append(f"R {number(piece.radius)} {units.length_name}")
    inside = segments["inside_diameter_m"][i]
    parts.append("on guides" if segments["guide"][i] else f"duct {units.told_diameter(inside)} inside")
    if segments["id"][i]:
        parts.append(f"{segments['how'][i]} {segments['id'][i]}".strip())
    return ", ".join(parts)


def sidewall(page: Page, i: int, ends: tuple[float, float] | None = None) -> tuple[str, float] | None:
    """Work the sidewall pressure of a segment.

    Parameters
    ----------
    page : Page
        The pull.
    i : int
        Which segment, from 0.
    ends : tuple of float, optional
        Tension entering and leaving it; the document's unless given. [N]

    Returns
    -------
    tuple of str and float, or None
        The equation with its numbers, and what comes of it [N/m]; None where nothing presses.
    """
    pull, units = page.pull, page.units
    piece = page.pieces[i]
    if piece.radius is None or not (ends or pull["profile"]["sidewall_N_per_m"][i + 1] > 0):
        return None
    half = (pull["segments"]["inside_diameter_m"][i] or 0.0) / 2 / units.length_unit
    factor = pull["segments"]["sidewall_factor"][i]
    one, other = ends or (pull["profile"]["tension_N"][i], page.before[i + 1])
    # pushed or pulled, the cable presses as hard
    greatest = max(abs(one), abs(other)) / units.force_unit
    wave = page.wave(i)
    if wave:
        radius = page.drawn(i).radius
        curved = wave + (0.0 if radius is None else 1.0 / radius)
        found = factor * greatest * curved / max(1.0 - half * curved, 0.02)
        put_in = f"{number(wave)}{'' if radius is None else f' + 1 / {number(radius)}'}"
        text = (
            f"p = q T / (R - D/2), 1/R = {put_in} with the waviness of the duct = {number(curved)}: p = q T (1/R) / (1 - D/2 (1/R)) "
            f"= {number(factor)} x {number(greatest)} x {number(curved)} / (1 - {number(half)} x {number(curved)})"
        )
    else:
        found = factor * greatest / (piece.radius - half)
        text = f"p = {number(factor)} x {number(greatest)} / ({number(piece.radius)} - {number(half)})"
    value = found * units.force_unit / units.length_unit
    return f"{text} = {units.told_per_length(value)}", value


def _assisted(page: Page, i: int, tension: float, added: float) -> Iterator[str]:
    """Say what an assist at the end of a segment gives, and why no more."""
    tag = next((p["tag"] for p in page.pull["passes"] if page.crossed(p["tag"]) == i + 1), "")
    force = page.rules.get(f"assist {tag}")
    if force is not None:
        stated, beyond = force / page.units.force_unit, backwards(page, 1.0, after=i + 1)
        if beyond is not None:
            rest = max(tension - beyond.tension, 0.0)
            yield (
                f"     the assist at {tag} gives the least of its force and of T - H, H what the cable beyond needs to stay taut"
            )
            yield (
                f"       = min({number(stated)}, {number(tension)} - {number(beyond.tension)}) = {number(min(stated, rest))}"
            )
            yield f"     T2 = T - assist = {number(tension)} - {number(-added)} = {number(tension + added)}"
            return
    yield f"     an assist here: T2 = {number(tension)} + ({number(added)})"

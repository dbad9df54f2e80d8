"""Tension and sidewall pressure of a pull, worked segment by segment."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from tautline.explain_friction import Slid, common_friction, friction_lines, slid
from tautline.explain_held import backwards
from tautline.explain_page import SAME, Page
from tautline.explain_piece import Piece, Worked, number
from tautline.explain_rows import continues, joined, row, runs, table
from tautline.explain_segment import work

_NONE = 1e-9  # of the greatest tension: left over from rounding


@dataclass(frozen=True)
class _Done:
    """A segment worked: its number from 0, tension entering it, what came of it, tension behind it, how far off."""

    i: int
    entering: float
    worked: Worked
    leaving: float
    apart: float


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
    way, done = slid(pull), list(_worked(page))
    vaults = {round(p["station_m"], 6): p["tag"] for p in pull["passes"]}
    station = pull["profile"]["station_m"]

    def alike(one: _Done, other: _Done) -> bool:
        return round(station[other.i], 6) not in vaults and _alike(page, way, one, other)

    for run in runs(done, alike):
        tag = vaults.pop(round(station[run[0].i], 6), None)
        if tag is not None:
            yield f"  -- at {tag}{', re-lubricated' if tag in pull['relube'] else ''} --"
        yield from _tabled(page, way, run) if len(run) > 1 else _written(page, way, run[0])
    yield (
        f"  exit tension {units.told_force(pull['exit_tension_N'])}; "
        f"greatest on the way {units.told_force(pull['max_tension_N'])}"
    )
    worst = max(d.apart for d in done)
    if worst <= SAME:
        yield f"  every T2 above agrees with the result document to {SAME:g}"
    else:
        yield f"  NOT EVERY T2 ABOVE AGREES WITH THE RESULT DOCUMENT: apart by up to {worst:.2g} of the tension"


def _worked(page: Page) -> Iterator[_Done]:
    """Work every segment; where the document says another tension, the next one goes on from that."""
    unit, profile = page.units.force_unit, page.pull["profile"]
    tension = page.pull["entry_tension_N"] / unit
    largest = max(map(abs, profile["tension_N"])) / unit
    for i, piece in enumerate(page.pieces):
        worked = work(piece, tension)
        leaving = worked.tension + page.pull["segments"]["added_N"][i] / unit
        leaving = leaving if abs(leaving) > _NONE * largest else 0.0
        stated = profile["tension_N"][i + 1] / unit
        apart = abs(leaving - stated) / max(1.0 / unit, abs(stated), 1e-3 * largest)
        yield _Done(i, tension, worked, leaving, apart)
        tension = stated if not apart <= SAME else leaving


def _alike(page: Page, way: Slid, one: _Done, other: _Done) -> bool:
    """Say whether a segment may stand in one table with the one before: part of the same stretch, and nothing to say of it."""
    s = page.pull["segments"]
    same = ("id", "how", "guide", "inside_diameter_m", "sidewall_factor")
    friction = [common_friction(s, d.i, way, page.units) for d in (one, other)]
    return (
        all(s[key][one.i] == s[key][other.i] for key in same)
        and page.wave(one.i) == page.wave(other.i)
        and continues(page.pieces[one.i], page.pieces[other.i])
        and friction[0] == friction[1] is not None
        and all(
            d.apart <= SAME
            and not s["added_N"][d.i]
            and d.worked.row is not None
            and not _unlike(page, d.i, sidewall(page, d.i))
            for d in (one, other)
        )
    )


def _unlike(page: Page, i: int, pressed: tuple[str, float] | None) -> bool:
    """Say whether the document has another sidewall pressure."""
    stated = page.pull["profile"]["sidewall_N_per_m"][i + 1]
    return pressed is not None and not abs(pressed[1] - stated) <= SAME * stated


def _written(page: Page, way: Slid, done: _Done) -> Iterator[str]:
    """Write one segment out."""
    units, i, tension = page.units, done.i, done.worked.tension
    profile = page.pull["profile"]
    yield f"  {i + 1}. {title(page, i)}"
    for line in friction_lines(
        page.pull["segments"], i, way, units, page.pieces[i], (done.entering, tension)
    ):
        yield "     " + line
    yield "     " + given(page, page.pieces[i], done.entering)
    for line in done.worked.lines:
        yield "     " + line
    if page.pull["segments"]["added_N"][i]:
        yield from _assisted(page, i, tension, page.pull["segments"]["added_N"][i] / units.force_unit)
    yield f"     T2 = {units.told_force(done.leaving * units.force_unit)}"
    pressed = sidewall(page, i)
    if pressed is not None:
        yield "     sidewall " + pressed[0]
        if _unlike(page, i, pressed):
            stated = units.told_per_length(profile["sidewall_N_per_m"][i + 1])
            yield f"     the document says {stated}: the greatest on the segment"
    if not done.apart <= SAME:
        yield f"     THE DOCUMENT SAYS {units.told_force(profile['tension_N'][i + 1])} HERE"


def _tabled(page: Page, way: Slid, run: list[_Done]) -> Iterator[str]:
    """Write parts of one stretch as a table."""
    first, units, s = run[0], page.units, page.pull["segments"]
    piece = page.pieces[first.i]
    whole = joined([page.pieces[d.i] for d in run])
    yield f"  {first.i + 1} to {run[-1].i + 1}. {title(page, first.i, whole)}, in {len(run)} parts"
    friction = common_friction(s, first.i, way, units)
    for line in friction or ():
        yield f"     {line}"
    for line in first.worked.rule:
        yield "     " + line
    yield (
        f"     c = f x {number(piece.correction)}, w = {number(piece.weight)}, T1 = {number(first.entering)}, "
        "then the T2 of the line above"
    )
    rows = [
        row(
            d.i + 1,
            page.pieces[d.i],
            d.worked,
            d.leaving,
            way.middle[d.i] / units.length_unit if friction else None,
        )
        for d in run
    ]
    for line in table(rows):
        yield "     " + line
    yield f"     T2 = {units.told_force(run[-1].leaving * units.force_unit)}"
    pressed = [(shown, d.i) for d in run if (shown := sidewall(page, d.i)) is not None]
    if pressed:
        (text, _), at = max(pressed, key=lambda one: one[0][1])
        yield f"     sidewall, greatest in {at + 1}: {text}"


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


def title(page: Page, i: int, whole: Piece | None = None) -> str:
    """Say what a segment is, and where it was found.

    Parameters
    ----------
    page : Page
        The pull.
    i : int
        Which segment, from 0.
    whole : Piece, optional
        The stretch of which it is the first part.

    Returns
    -------
    str
        One line.
    """
    piece, segments, units = whole or page.pieces[i], page.pull["segments"], page.units
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
        drawn = page.drawn(i).radius
        radius = 1.0 / (wave + (0.0 if drawn is None else 1.0 / drawn))
        found = factor * greatest / max(radius - half, 0.02 * radius)
        text = (
            f"R = 1 / {number(wave) if drawn is None else f'({number(wave)} + 1 / {number(drawn)})'} = {number(radius)} with the "
            f"waviness of the duct, p = {number(factor)} x {number(greatest)} / ({number(radius)} - {number(half)})"
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

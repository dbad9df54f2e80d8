"""What holds a cable back at its reel: the entry tension and the brake, worked backwards from where the cable runs by itself."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from tautline.explain_lines import KEPT
from tautline.explain_page import SAME, Page
from tautline.explain_piece import Piece, Worked, number
from tautline.explain_rows import continues, row, runs, table
from tautline.explain_segment import work

_NONE = 1e-9  # of a tension: left over from rounding


@dataclass(frozen=True)
class Step:
    """A segment, or a part of one, worked from its end to its start.

    Parameters
    ----------
    segment : int
        From 0.
    piece : Piece
        As it lies against the pull; its friction counts negative.
    factor : float
        On the expected friction.
    entering : float
        Tension at its end.
    worked : Worked
        With the tension at its start.
    """

    segment: int
    piece: Piece
    factor: float
    entering: float
    worked: Worked


@dataclass(frozen=True)
class Held:
    """The least tension that keeps a cable taut from some place on.

    Parameters
    ----------
    tension : float
        There, in the page's unit.
    steps : tuple of Step
        From where the cable just stays taut back to there; none where it needs no holding.
    """

    tension: float
    steps: tuple[Step, ...]


def backwards(page: Page, factor: float, after: int = 0) -> Held | None:
    """Work out backwards what keeps a cable taut.

    Parameters
    ----------
    page : Page
        The pull.
    factor : float
        On the expected friction.
    after : int, optional
        The segment from which on it is asked.

    Returns
    -------
    Held or None
        None where friction depends on the contact force, which no hand calculation follows.

    Notes
    -----
    Against the pull a segment has its grades swapped and with the other sign, and friction helps instead of hindering:
    the same equations with a negative coefficient. Tension that falls to zero where tan g = -c falls no farther.
    """
    if depends_on_pressing(page):
        return None
    needed, steps = 0.0, list[Step]()
    for i in range(len(page.pieces) - 1, after - 1, -1):
        entering, taut, parts = needed, len(steps), list(_split(page.pieces[i], factor))
        for part in reversed(parts):
            back = _against(part, factor)
            worked = work(back, needed)
            if worked.tension > _NONE:
                steps.append(Step(i, back, factor, needed, worked))
                needed = worked.tension
            else:
                needed, steps = 0.0, []
        if (
            len(steps) == taut + len(parts) > taut + 1
        ):  # taut all along: the equation holds for the whole of it
            back = _against(page.pieces[i], factor)
            steps[taut:] = [Step(i, back, factor, entering, work(back, entering))]
            needed = steps[-1].worked.tension
    return Held(needed, tuple(steps))


def _against(piece: Piece, factor: float) -> Piece:
    """Return a segment as it lies against the pull, where friction helps."""
    return replace(
        piece,
        grade_in=-piece.grade_out,
        grade_out=-piece.grade_in,
        turn=-piece.turn,
        friction=-factor * piece.friction,
    )


def depends_on_pressing(page: Page) -> bool:
    """Say whether friction depends on how hard the cable is pressed, so that other tensions change it.

    Parameters
    ----------
    page : Page
        The pull.

    Returns
    -------
    bool
        Then the coefficients of the page hold for its own tensions only.
    """
    return any(law["pressed"] is not None for law in page.pull["segments"].get("laws", []))


def _split(piece: Piece, factor: float) -> Iterator[Piece]:
    """Part a segment where the cable begins, or ends, to run by itself: where tan g = -c."""
    edge = -math.atan(factor * piece.c)
    one, other = piece.grade_in, piece.grade_out
    if not min(one, other) < edge < max(one, other):
        yield piece
        return
    share = (edge - one) / (other - one)
    yield replace(piece, length=share * piece.length, turn=share * piece.turn, grade_out=edge)
    yield replace(piece, length=(1 - share) * piece.length, turn=(1 - share) * piece.turn, grade_in=edge)


def entry_line(page: Page) -> str:
    """Say how the tension at the start of the pull arises.

    Parameters
    ----------
    page : Page
        The pull.

    Returns
    -------
    str
        One line.
    """
    pull, units = page.pull, page.units
    entry, holding = pull["entry_tension_N"], pull["holding_tension_N"]
    stated, pusher = page.rules.get("entry"), page.rules.get("pusher", 0.0)
    told = units.told_force(entry)
    if stated is None:
        return f"entry tension T0 = {told}"
    put_in = f"max({units.force(stated)}, {units.force(holding)})"
    if pusher > 0 and entry < stated:
        return (
            "entry tension T0 = what the job states, or what must be held if that is more, less the pusher's force "
            f"= {put_in} - {units.force(pusher)} = {told}"
        )
    return f"entry tension T0 = what the job states, or what must be held if that is more = {put_in} = {told}"


def held_lines(page: Page) -> Iterator[str]:
    """Work out what the reel must hold, and what its brake has to give where friction turns out low.

    Parameters
    ----------
    page : Page
        The pull.

    Yields
    ------
    str
        None where nothing must be held.
    """
    pull, units, low = page.pull, page.units, page.rules.get("low_friction")
    holding: float = pull["holding_tension_N"]
    brake: float = pull.get("brake_tension_N", holding)
    if not brake > 0:
        return
    yield (
        "  Where the way falls so steeply that tan g < -c the cable runs by itself, and the reel holds it. What that takes is "
        "worked backwards from the place where T may just be 0: against the pull a grade has the other sign, and friction "
        "helps, so that c counts negative. T1 is at the end of the segment, T2 at its start."
    )
    if low is None:
        yield "  THE RESULT IS OF AN OLDER VERSION and does not say for which friction the brake is sized; plan or check again."
        return
    expected, lowest = backwards(page, 1.0), backwards(page, low)
    if expected is None or lowest is None:
        yield f"  Friction depends on how hard the cable is pressed: {units.told_force(brake)} was found by integration."
        return
    if holding < brake:
        yield from _told(page, expected, "with the expected friction", holding)
    yield from _told(
        page, lowest, f"with {number(low)} of the expected friction, what the brake must give", brake
    )
    if any(check["name"] == "braked_tension" for check in pull["checks"]):
        yield from _braked(page, brake)


def _told(page: Page, held: Held, how: str, stated: float) -> Iterator[str]:
    units = page.units
    yield f"  {how}:"
    if not held.steps:
        yield "    nothing must be held: nowhere does tan g fall below -c for long enough"
    for run in runs(held.steps, lambda one, other: _alike(page, one, other)):
        yield from _stepped(page, run[0]) if len(run) == 1 else _tabled(run)
    found = held.tension * units.force_unit
    yield f"    at the reel {units.told_force(found)}"
    if abs(found - stated) > SAME * max(1.0, stated):
        yield f"    THE DOCUMENT SAYS {units.told_force(stated)}"


def _alike(page: Page, one: Step, other: Step) -> bool:
    """Say whether a step may stand in one table with the one before: both whole segments of one stretch."""
    return (
        other.segment == one.segment - 1
        and continues(one.piece, other.piece)
        and all(
            step.worked.row is not None
            and math.isclose(step.piece.length, page.pieces[step.segment].length, rel_tol=1e-12)
            for step in (one, other)
        )
    )


def _tabled(run: list[Step]) -> Iterator[str]:
    first, last = run[0], run[-1]
    p, low = first.piece, "that" if first.factor == 1.0 else f"{number(first.factor)} of that"
    yield f"    {first.segment + 1} to {last.segment + 1}. backwards: {p.kind}, in {len(run)} parts"
    for line in first.worked.rule:
        yield f"       {line}"
    yield (
        f"       c = -f x {number(p.correction)}, f {low} above, w = {number(p.weight)}, T1 = {number(first.entering)}, "
        "then the T2 of the line above"
    )
    for line in table([row(s.segment + 1, s.piece, s.worked, s.worked.tension) for s in run]):
        yield f"       {line}"


def _stepped(page: Page, step: Step) -> Iterator[str]:
    p, after = step.piece, number(step.worked.tension)
    part = (
        ""
        if math.isclose(p.length, page.pieces[step.segment].length)
        else ", in part, L in proportion, to where tan g = -c"
    )
    yield f"    {step.segment + 1}. backwards{part}: {p.kind}"
    grades = (
        f"g = {number(p.grade_in)}"
        if p.grade_in == p.grade_out
        else f"g from {number(p.grade_in)} to {number(p.grade_out)}"
    )
    low = "" if step.factor == 1.0 else f"{number(step.factor)} x "
    yield (
        f"       L = {number(p.length)}, {grades}, c = -{low}{number(-p.friction / step.factor)} x {number(p.correction)} = "
        f"{number(p.c)}, w = {number(p.weight)}, T1 = {number(step.entering)}"
    )
    if "straight" in p.kind:
        formula, put_in = step.worked.lines
        yield f"       {formula} {put_in.strip()} = {after}"
        return
    for line in step.worked.lines:
        yield "       " + line
    yield f"       T2 = {after}"


def braked(page: Page) -> tuple[float, ...]:
    """Return the tensions where the reel is braked for low friction, and friction is as expected.

    Parameters
    ----------
    page : Page
        The pull.

    Returns
    -------
    tuple of float
        At the start and at the end of each segment, before an assist relieves it. [N]
    """
    unit = page.units.force_unit
    holding: float = page.pull["holding_tension_N"]
    brake: float = page.pull.get("brake_tension_N", holding)
    tension = brake / unit
    found = [tension]
    for piece, added in zip(page.pieces, page.pull["segments"]["added_N"], strict=True):
        leaving = work(piece, tension).tension
        found.append(leaving)
        tension = leaving + added / unit
    return tuple(t * unit for t in found)


def _braked(page: Page, brake: float) -> Iterator[str]:
    yield (
        f"  with T0 = {page.units.force(brake)} held by the brake, and friction as expected after all: T2 of each segment by "
        "its equation above, T1 being the T2 of the one before (an assist takes off what it gives):"
    )
    found = braked(page)
    yield "    " + ", ".join(f"{k}:{KEPT}{page.units.force(t)}" for k, t in enumerate(found[1:], 1))

"""Parts of one stretch that differ in little but friction, written as lines of a table instead of one by one."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

from tautline.explain_piece import Piece, Worked, number

FEWEST = 3
"""As many parts make a table."""
_T = TypeVar("_T")
_ROOM = 72  # characters of a line of a table; fits the narrowest terminal with its indent
_SAME = 1e-9  # relative; of radii and grades that are the same


def runs(parts: Sequence[_T], alike: Callable[[_T, _T], bool]) -> Iterator[list[_T]]:
    """Part a sequence into runs in which each is like the one before.

    Parameters
    ----------
    parts : sequence
        In order.
    alike : callable
        Says whether the second may stand in one table with the first, the one before it.

    Yields
    ------
    list
        All of a table, or one alone.
    """
    run: list[_T] = []
    for part in parts:
        if run and not alike(run[-1], part):
            yield from _told(run)
            run = []
        run.append(part)
    yield from _told(run)


def _told(run: list[_T]) -> Iterator[list[_T]]:
    if len(run) >= FEWEST:
        yield run
    else:
        yield from ([part] for part in run)


def continues(one: Piece, other: Piece) -> bool:
    """Say whether a segment goes on as the one before: the same curve or straight, under the same weight.

    Parameters
    ----------
    one, other : Piece
        In the order in which they are worked.

    Returns
    -------
    bool
        Then one equation with the same constants holds for both.
    """
    if one.kind != other.kind or one.weight != other.weight or one.correction != other.correction:
        return False
    if not math.isclose(one.grade_out, other.grade_in, rel_tol=0.0, abs_tol=_SAME):
        return False
    pairs = (
        (one.turn / one.length, other.turn / other.length),
        ((one.grade_out - one.grade_in) / one.length, (other.grade_out - other.grade_in) / other.length),
    )
    return all(math.isclose(a, b, rel_tol=1e-6, abs_tol=1e-12) for a, b in pairs)


def joined(pieces: Sequence[Piece]) -> Piece:
    """Return parts of one stretch as one segment, for its title.

    Parameters
    ----------
    pieces : sequence of Piece
        Each going on as the one before.

    Returns
    -------
    Piece
        With the friction of the first.
    """
    first = pieces[0]
    return Piece(
        math.fsum(p.length for p in pieces),
        first.grade_in,
        pieces[-1].grade_out,
        math.fsum(p.turn for p in pieces),
        first.weight,
        first.friction,
        first.correction,
    )


def row(n: int, piece: Piece, worked: Worked, tension: float, slid: float | None = None) -> dict[str, str]:
    """Return a part as a line of a table.

    Parameters
    ----------
    n : int
        Its number, from 1.
    piece : Piece
        The part.
    worked : Worked
        It worked out.
    tension : float
        Leaving it.
    slid : float, optional
        How far the cable has slid since it was lubricated, where friction hangs on that.

    Returns
    -------
    dict of str to str
        By column.
    """
    way = {} if slid is None else {"d": number(slid)}
    own = {name: number(value) for name, value in worked.row or ()}
    return {
        "no": str(n),
        **way,
        "L": number(piece.length),
        "f": number(abs(piece.friction)),
        "c": number(piece.c),
        **own,
        "T2": number(tension),
    }


def table(rows: Sequence[dict[str, str]]) -> Iterator[str]:
    """Write lines under headings, in as many tables one below the other as the narrowest page takes.

    Parameters
    ----------
    rows : sequence of dict of str to str
        All with the same columns, the first of which names the line.

    Yields
    ------
    str
        Lines of text.
    """
    first, *names = rows[0]
    wide = {name: max(len(name), *(len(line[name]) for line in rows)) for name in (first, *names)}
    while names:
        taken, room = [first], _ROOM - wide[first]
        while names and room >= wide[names[0]] + 2:
            room -= wide[names[0]] + 2
            taken.append(names.pop(0))
        yield "  ".join(f"{name:>{wide[name]}}" for name in taken)
        for line in rows:
            yield "  ".join(f"{line[name]:>{wide[name]}}" for name in taken)

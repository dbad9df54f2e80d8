"""Ducts too narrow for what is pulled through them: which spans, by which checks, and the narrowest duct that would do."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from mechanics.pull import Check
from mechanics.track import Bore
from network.changed import bends_of
from network.mixed import Pulls
from network.reach import RowPulls
from network.row import Row, Stretch

# What a duct's width settles, whatever the tension.
_OF_WIDTH = ("arrangement", "clearance", "fill", "jam_ratio")


@dataclass(frozen=True, eq=False)
class Narrow:
    """A span that the bundle does not fit.

    Parameters
    ----------
    span : int
        Of the row.
    bore : Bore
        The narrowest in it.
    checks : tuple of Check
        Those that fail.
    smallest : float or None
        Inside diameter of the narrowest duct looked at in which they pass; None where none does. [m]
    """

    span: int
    bore: Bore
    checks: tuple[Check, ...]
    smallest: float | None


def narrow_spans(
    pulls: Pulls, spans: Iterable[int], sizes: Callable[[int], Sequence[float]]
) -> tuple[Narrow, ...]:
    """Return the spans that are too narrow for their bundle.

    Parameters
    ----------
    pulls : RowPulls or MixedPulls
        Of the row.
    spans : iterable of int
        Which spans to look at.
    sizes : callable
        The inside diameters of the ducts to choose from for a span. [m]

    Returns
    -------
    tuple of Narrow
        In the order of the spans.
    """
    known: dict[object, tuple[tuple[Check, ...], float | None]] = {}
    found = []
    for span in spans:
        own = pulls.between(span, span + 1)
        bores = own.row.spans[0].bores
        choice = tuple(sizes(span))
        # The same bores, bundle and limits, with bends or without, give the same checks.
        key = (frozenset(bores), id(own.bundle), id(own.rules), bool(bends_of(own.row, 0)), choice)
        if key not in known:
            checks = _failing(own)
            known[key] = checks, _smallest(own, choice) if checks else None
        checks, smallest = known[key]
        if checks:
            found.append(Narrow(span, min(bores, key=_width), checks, smallest))
    return tuple(found)


def _failing(pulls: RowPulls) -> tuple[Check, ...]:
    result = pulls.evaluate(0, 1)
    return tuple(c for c in result.checks if c.name in _OF_WIDTH and c.binding and c.verdict == "fail")


def _smallest(pulls: RowPulls, sizes: Sequence[float]) -> float | None:
    now = min(map(_width, pulls.row.spans[0].bores))
    wider = (d for d in sorted(sizes) if d > now)
    return next((d for d in wider if not _failing(pulls.on(widened(pulls.row, d)))), None)


def widened(row: Row, diameter: float) -> Row:
    """Return a row none of whose ducts is narrower than a diameter; guides stay.

    Parameters
    ----------
    row : Row
        As it is.
    diameter : float
        Inside. [m]

    Returns
    -------
    Row
        As it would be.
    """

    def wide(stretch: Stretch) -> Stretch:
        bores = (
            replace(b, inside_diameter=diameter)
            if b.inside_diameter is not None and b.inside_diameter < diameter
            else b
            for b in stretch.bores
        )
        return replace(stretch, bores=tuple(bores))

    return replace(row, spans=tuple(map(wide, row.spans)), crossings=tuple(map(wide, row.crossings)))


def _width(bore: Bore) -> float:
    return float("inf") if bore.inside_diameter is None else bore.inside_diameter

"""What would relieve a pull that passes: one more re-lube stop, a larger sweep in its hardest bend, less friction."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from mechanics.pull import PullResult
from network.changed import hardest_bend, roomiest, with_friction, with_sweep
from network.mixed import Pulls
from network.pulls import PullOption

LESS_FRICTION = 0.05
"""How much lower friction is tried."""

_LEAST_FRICTION = 0.02
_SAME = 1e-4  # radii nearer to each other than that share of them are one
# How many times the radius is tried where no larger one is made, and there is room.
_WIDER = 2.0
# A lower utilisation that is worth telling: half a percent.
_TELLS = 0.005


@dataclass(frozen=True)
class Gain:
    """What one change would make of a pull's worst utilisation.

    Parameters
    ----------
    kind : {"stop", "radius", "friction"}
        One more re-lube stop; a larger sweep in the bend that is pressed hardest, the first of those made that lowers the
        utilisation, or else the largest there is room for; friction lower by :data:`LESS_FRICTION` in all ducts, wet and
        dry.
    value : float
        Vault of the stop; centreline radius [m]; the change of friction.
    where : str
        Tag of the vault, id of the bend's segment, or empty.
    utilisation : float
        Worst of a binding check afterwards.
    span, segment : int or None
        The bend: its span of the row, and which of its segments.
    now : float or None
        The bend's radius before. [m]
    """

    kind: Literal["stop", "radius", "friction"]
    value: float
    where: str
    utilisation: float
    span: int | None = None
    segment: int | None = None
    now: float | None = None


def gains(pulls: Pulls, option: PullOption, radii: Sequence[float] = ()) -> tuple[Gain, ...]:
    """Return what would relieve a pull, each change on its own.

    Parameters
    ----------
    pulls : RowPulls or MixedPulls
        Of the row.
    option : PullOption
        The pull as planned.
    radii : sequence of float, optional
        Of the sweeps that are made; where none of them is larger than the bend's own, twice that is tried. [m]

    Returns
    -------
    tuple of Gain
        Those that can be made, whether or not they help.
    """
    result = pulls.evaluate(option.feed, option.pull, option.relube)
    return (*_stop(pulls, option), *_sweep(pulls, option, result, radii), *_friction(pulls, option))


def _stop(pulls: Pulls, option: PullOption) -> Iterator[Gain]:
    low, high = sorted((option.feed, option.pull))
    more = []
    for vault in range(low + 1, high):
        if vault not in option.relube:
            result = pulls.evaluate(option.feed, option.pull, (*option.relube, vault))
            if result.verdict == "pass":
                more.append((result.utilisation, vault))
    if more:
        used, vault = min(more)
        yield Gain("stop", float(vault), pulls.row.vaults[vault].tag, used)


def _sweep(pulls: Pulls, option: PullOption, result: PullResult, radii: Sequence[float]) -> Iterator[Gain]:
    place = hardest_bend(pulls.row, option.feed, option.pull, result)
    if place is None:
        return
    span, bend = place
    row = pulls.row
    now = 1.0 / float(row.spans[span].chain.curvature[bend])
    larger = [r for r in sorted(radii) if r > now * (1.0 + _SAME)] or [_WIDER * now]
    room = roomiest(row, span, bend, larger[-1])
    ids = row.spans[span].ids
    best: Gain | None = None
    for radius in [r for r in larger if r <= room * (1.0 + _SAME)] or [room]:
        if radius <= now * (1.0 + _SAME):
            return
        changed = pulls.on(with_sweep(row, span, bend, min(radius, room)))
        used = changed.evaluate(option.feed, option.pull, option.relube).utilisation
        best = Gain("radius", radius, ids[bend] if ids else "", used, span, bend, now)
        if used < result.utilisation - _TELLS:
            break
    if best is not None:
        yield best


def _friction(pulls: Pulls, option: PullOption) -> Iterator[Gain]:
    row = with_friction(pulls.row, lambda f: max(f - LESS_FRICTION, min(f, _LEAST_FRICTION)))
    result = pulls.on(row).evaluate(option.feed, option.pull, option.relube)
    if result.verdict == "pass":
        yield Gain("friction", -LESS_FRICTION, "", result.utilisation)

"""What would relieve a pull that passes: one more re-lube stop, a larger sweep in its hardest bend, less friction."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from mechanics.pull import PullResult
from network.changed import hardest_bend, roomiest, with_friction, with_sweep
from network.mixed import Pulls
from network.pulls import PullOption

LESS_FRICTION = 0.05
"""How much lower friction is tried."""

_LEAST_FRICTION = 0.02
_WIDER = 2.0  # how many times the radius is tried, where there is room


@dataclass(frozen=True)
class Gain:
    """What one change would make of a pull's worst utilisation.

    Parameters
    ----------
    kind : {"stop", "radius", "friction"}
        One more re-lube stop; a larger sweep in the bend that is pressed hardest; friction lower by
        :data:`LESS_FRICTION` in all ducts, wet and dry.
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


def gains(pulls: Pulls, option: PullOption) -> tuple[Gain, ...]:
    """Return what would relieve a pull, each change on its own.

    Parameters
    ----------
    pulls : RowPulls or MixedPulls
        Of the row.
    option : PullOption
        The pull as planned.

    Returns
    -------
    tuple of Gain
        Those that can be made, whether or not they help.
    """
    result = pulls.evaluate(option.feed, option.pull, option.relube)
    return (*_stop(pulls, option), *_sweep(pulls, option, result), *_friction(pulls, option))


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


def _sweep(pulls: Pulls, option: PullOption, result: PullResult) -> Iterator[Gain]:
    place = hardest_bend(pulls.row, option.feed, option.pull, result)
    if place is None:
        return
    span, bend = place
    row = pulls.row
    now = 1.0 / float(row.spans[span].chain.curvature[bend])
    radius = min(_WIDER * now, roomiest(row, span, bend, _WIDER * now))
    if radius <= now * (1.0 + 1e-6):
        return
    changed = pulls.on(with_sweep(row, span, bend, radius))
    used = changed.evaluate(option.feed, option.pull, option.relube).utilisation
    ids = row.spans[span].ids
    yield Gain("radius", radius, ids[bend] if ids else "", used, span, bend, now)


def _friction(pulls: Pulls, option: PullOption) -> Iterator[Gain]:
    row = with_friction(pulls.row, lambda f: max(f - LESS_FRICTION, min(f, _LEAST_FRICTION)))
    result = pulls.on(row).evaluate(option.feed, option.pull, option.relube)
    if result.verdict == "pass":
        yield Gain("friction", -LESS_FRICTION, "", result.utilisation)

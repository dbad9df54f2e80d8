"""Stretches of a row that want a section, and whether a pull through one passes, as it is or changed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from mechanics.cable import Bundle
from mechanics.pull import PullResult, Rules
from network.changed import part_of
from network.market import permitted
from network.mixed import Pulls
from network.plan import plan_row
from network.reach import RowPulls
from network.row import Row
from network.terms import NoPlan, Plan, PlanRules, Section

# What friction, bends, vaults and helping hands change; a bundle that does not fit its duct is not mended by them.
_MENDABLE = ("tension", "sidewall", "bending_radius", "bending_radius_pulling", "bend_total")


@dataclass(frozen=True, eq=False)
class Passing:
    """A pull through a stretch.

    Parameters
    ----------
    feed, pull : int
        Vaults of the stretch, its first being 0.
    result : PullResult
        Evaluated with the re-lube stops that are best for it.
    """

    feed: int
    pull: int
    result: PullResult


@dataclass(frozen=True, eq=False)
class MissingSection:
    """A stretch of a row between two vaults where splicing is allowed, and which no section covers.

    Parameters
    ----------
    low, high : int
        Its ends, as vaults of the row.
    row : Row
        The stretch alone.
    bundle : Bundle
        What is pulled.
    rules : Rules
        By which limits; what a reel holds is another matter and left out.
    spans : tuple of int
        The spans of the row in it that no section covers.
    """

    low: int
    high: int
    row: Row
    bundle: Bundle
    rules: Rules
    spans: tuple[int, ...]

    @property
    def last(self) -> int:
        """Number of its last vault, the first being 0."""
        return self.high - self.low

    @cached_property
    def mendable(self) -> bool:
        """Whether in some direction all that fails are checks of tension, of sidewall pressure or of bends."""
        return any(
            all(
                check.name.endswith(_MENDABLE)
                for check in way.result.checks
                if check.binding and check.verdict == "fail"
            )
            for way in self.tried()
        )

    def tried(
        self, row: Row | None = None, rules: Rules | None = None, ends: tuple[int, int] | None = None
    ) -> Iterator[Passing]:
        """Yield the pulls from end to end that its vaults allow, passed or not.

        Parameters
        ----------
        row : Row, optional
            The stretch changed.
        rules : Rules, optional
            The rules changed.
        ends : tuple of (int, int), optional
            Other ends, as vaults of the stretch.

        Yields
        ------
        Passing
            One a direction.
        """
        row = row or self.row
        low, high = ends or (0, len(row.spans))
        part = part_of(row, low, high)
        owner = RowPulls(part, self.bundle, rules or self.rules)
        last, vaults = high - low, part.vaults
        for feed, pull in ((0, last), (last, 0)):
            if vaults[feed].feed and vaults[pull].pull:
                # Without a vault to stop at there is nothing to choose.
                result = owner.evaluate(feed, pull) if last == 1 else owner.best(feed, pull)[1]
                yield Passing(low + feed, low + pull, result)

    def passing(
        self, row: Row | None = None, rules: Rules | None = None, ends: tuple[int, int] | None = None
    ) -> Passing | None:
        """Return the better of the pulls that pass; see :meth:`tried`.

        Parameters
        ----------
        row : Row, optional
            The stretch changed.
        rules : Rules, optional
            The rules changed.
        ends : tuple of (int, int), optional
            Other ends, as vaults of the stretch.

        Returns
        -------
        Passing or None
            None where none passes.
        """
        good = [p for p in self.tried(row, rules, ends) if p.result.verdict == "pass"]
        return min(good, key=lambda p: p.result.utilisation, default=None)


def missing_sections(pulls: Pulls, none: NoPlan) -> tuple[MissingSection, ...]:
    """Return the stretches that want a section, in the row's order.

    Parameters
    ----------
    pulls : RowPulls or MixedPulls
        Of the row.
    none : NoPlan
        What is in the way.

    Returns
    -------
    tuple of MissingSection
        Round every span that no section covers, from the last vault before it where splicing is allowed to the first
        after it; where all are covered but do not meet, the gap between those from the start and those to the end.
    """
    facts = pulls.row.facts
    ends = np.flatnonzero(permitted(facts, "splice"))
    found: dict[tuple[int, int], list[int]] = {}
    for low, high in none.blocked:
        begin = int(ends[np.searchsorted(ends, low, side="right") - 1])
        stop = int(ends[np.searchsorted(ends, high, side="left")])
        found.setdefault((begin, stop), []).append(low)
    if not none.blocked and none.reached < none.resumes:
        # No section runs through a vault where the bundle changes.
        changes = [k for k in pulls.changes if none.reached < k < none.resumes]
        for low, high in pairwise((none.reached, *changes, none.resumes)):
            found[low, high] = list(range(low, high))
    stretches = []
    for (low, high), spans in sorted(found.items()):
        own = pulls.between(low, high)
        alone = replace(own.rules, reel=None)
        stretches.append(MissingSection(low, high, own.row, own.bundle, alone, tuple(spans)))
    return tuple(stretches)


def between(pulls: Pulls, rules: PlanRules, none: NoPlan) -> tuple[Section, ...]:
    """Return the best sections between the stretches that want one.

    Parameters
    ----------
    pulls : RowPulls or MixedPulls
        Of the row.
    rules : PlanRules
        Of the plan.
    none : NoPlan
        What is in the way.

    Returns
    -------
    tuple of Section
        In the row's order, with the row's numbers; none before the first stretch or behind the last.
    """
    found: list[Section] = []
    tags = [v.tag for v in pulls.row.vaults]
    for before, after in pairwise(missing_sections(pulls, none)):
        low, high = before.high, after.low
        if not low < high:
            continue
        part = pulls.part(low, high)
        plan = plan_row(part.row.facts, part.offers(), rules.within(tags, low, high))
        found += (_moved(s, low) for s in (plan.sections if isinstance(plan, Plan) else ()))
    return tuple(found)


def _moved(section: Section, by: int) -> Section:
    pulls = tuple(p.moved(by) for p in section.pulls)
    return replace(section, start=section.start + by, end=section.end + by, pulls=pulls)

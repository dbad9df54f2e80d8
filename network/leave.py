"""Where vaults forbid what every plan needs: the least leave to splice, to feed or to pull that gives one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from network.market import permitted
from network.plan import plan_row
from network.pulls import Offers
from network.row import RowFacts, RowVault
from network.terms import Plan, PlanRules

WHAT = ("splice", "feed", "pull")
"""What a vault may forbid."""


@dataclass(frozen=True)
class Leave:
    """What must be allowed for a plan, and the plan.

    Parameters
    ----------
    at : tuple of (int, tuple of str)
        Vaults of the row, each with those of :data:`WHAT` that it forbids now and that are wanting.
    plan : Plan
        Of the row with that leave.
    """

    at: tuple[tuple[int, tuple[str, ...]], ...]
    plan: Plan


def opened(vaults: Sequence[RowVault], at: Mapping[int, Sequence[str]]) -> tuple[RowVault, ...]:
    """Return vaults at some of which more is allowed.

    Parameters
    ----------
    vaults : sequence of RowVault
        As they are.
    at : mapping of int to sequence of str
        Which of :data:`WHAT` besides, by the vault's number.

    Returns
    -------
    tuple of RowVault
        All of them.
    """
    return tuple(
        replace(
            vault,
            splice=vault.splice or "splice" in at.get(k, ()),
            feed=vault.feed or "feed" in at.get(k, ()),
            pull=vault.pull or "pull" in at.get(k, ()),
        )
        for k, vault in enumerate(vaults)
    )


def leaves(facts: RowFacts, offers: Offers, rules: PlanRules, near: int) -> Iterator[Leave]:
    """Yield where leave at one vault gives a plan; where none does, the vaults at which leave together does.

    Parameters
    ----------
    facts : RowFacts
        Of a row that has no plan.
    offers : Offers
        All its feasible pulls.
    rules : PlanRules
        Of the plan.
    near : int
        Vault from which the nearest are told first.

    Yields
    ------
    Leave
        Of which nothing can be left out.
    """
    closed = {
        k: wanting
        for k in range(len(facts.vaults))
        if (wanting := tuple(what for what in WHAT if not permitted(facts, what)[k]))
    }

    def plan(at: Mapping[int, Sequence[str]]) -> Plan | None:
        found = plan_row(replace(facts, vaults=opened(facts.vaults, at)), offers, rules)
        return found if isinstance(found, Plan) else None

    alone = False
    for k in sorted(closed, key=lambda k: abs(k - near)):
        # Leave for everything first: where that does not help, less does not.
        if plan({k: closed[k]}) is None:
            continue
        alone = True
        sets = (what for count in range(1, len(closed[k]) + 1) for what in combinations(closed[k], count))
        yield next(Leave(((k, what),), p) for what in sets if (p := plan({k: what})) is not None)
    if not alone and len(closed) > 1 and (whole := plan(closed)) is not None:
        used = _used(whole, closed)
        # Leave out what is not wanting, one vault after the other, then one thing after the other.
        for part in [{k: what} for k, what in used.items()] + [{k: (w,)} for k in used for w in used[k]]:
            less = _without(used, part)
            if plan(less) is not None:
                used = less
        found = plan(used)
        if found is not None:
            yield Leave(tuple(used.items()), found)


def _without(
    leave: Mapping[int, Sequence[str]], part: Mapping[int, Sequence[str]]
) -> dict[int, tuple[str, ...]]:
    less = {k: tuple(w for w in what if w not in part.get(k, ())) for k, what in leave.items()}
    return {k: what for k, what in less.items() if what}


def _used(plan: Plan, closed: Mapping[int, Sequence[str]]) -> dict[int, tuple[str, ...]]:
    """What a plan makes use of, of all that is closed."""
    wanted = {("splice", s.end) for s in plan.sections}
    wanted |= {one for s in plan.sections for p in s.pulls for one in (("feed", p.feed), ("pull", p.pull))}
    used = {k: tuple(what for what in closed[k] if (what, k) in wanted) for k in closed}
    return {k: what for k, what in used.items() if what}

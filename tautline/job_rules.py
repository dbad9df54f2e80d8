"""``[plan]``, ``[pulling]``, ``[limits]`` and ``[[pull]]``: prices, how a pull is set up, what it is judged by."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, cast

from mechanics.cable import Attachment
from mechanics.limits import OVERRIDABLE
from mechanics.rules import Override, Rules
from mechanics.tables import Tables
from network.plan import Costs, PlanRules, Reel
from tautline.job_table import Table

# Prices beyond it are slips of the hand, and sums of them no numbers.
_DEAREST = 1e15


@dataclass(frozen=True)
class PullRequest:
    """A pull that the job asks to have evaluated.

    Parameters
    ----------
    feed, pull : str
        Vault tags.
    via : tuple of str
        Vaults it must pass, in order, where several ways lead from feed to pull.
    relube : tuple of str
        Pass-through vaults where lubricant is added.
    """

    feed: str
    pull: str
    via: tuple[str, ...] = ()
    relube: tuple[str, ...] = ()


def read_rules(
    pulling: Table,
    limits: Table,
    plan: PlanRules,
    max_sidewall: float | None,
    *,
    area: object,
    tables: Tables,
) -> Rules:
    """Read ``[pulling]`` and ``[limits]``: how a pull is set up and what it is judged by.

    Parameters
    ----------
    pulling, limits : Table
        ``[pulling]`` and ``[limits]``.
    plan : PlanRules
        For reel and slack.
    max_sidewall : float or None
        Of the cable's data sheet. [N/m]
    area : object
        The conductor's, as written; conductor stresses follow its unit unless stated.
    tables : Tables
        Of limits.

    Returns
    -------
    Rules
        Faults are on the tables' record.
    """
    attachment = pulling.text("attachment", choices=("eye", "grip"))
    entry = pulling.quantity("entry", "force", at_least=0.0)
    restart = pulling.number("restart", at_least=1.0, at_most=5.0)
    practice = pulling.text("practice", choices=("us", "metric"))
    if practice is None:
        practice, why = practice_of(area)
        pulling.assume(
            f"pulling.practice not stated: conductor stresses of {practice} practice taken ({why})."
        )
    temperature = pulling.quantity("temperature", "temperature")
    if temperature is None:
        pulling.assume(
            "pulling.temperature not stated: neither the cold nor the grade of the lubricant is checked."
        )
    return Rules(
        entry=entry or 0.0,
        attachment=cast("Attachment", attachment or "eye"),
        max_sidewall=max_sidewall,
        overrides=read_overrides(limits),
        practice=cast('Literal["us", "metric"]', practice),
        low_friction_factor=pulling.number("low_friction_factor", above=0.0, at_most=1.0),
        restart_factor=restart or 1.25,
        slack=plan.slack,
        reel=None if math.isinf(plan.longest) else plan.longest,
        pusher=pulling.quantity("pusher", "force", at_least=0.0) or 0.0,
        assists=_assists(pulling),
        temperature=temperature,
        lubricant_factor=pulling.number("lubricant_factor", above=0.0, at_most=10.0) or 1.0,
        puller=pulling.quantity("puller", "force", above=0.0),
        rope_friction=pulling.number("rope_friction", above=0.0, at_most=2.0),
        tables=tables,
    )


def practice_of(area: object) -> tuple[Literal["us", "metric"], str]:
    """Return whose conductor stresses hold, and why: by how the cable is sold, never by what people like to read.

    Parameters
    ----------
    area : object
        The conductor's, as written.

    Returns
    -------
    tuple of (str, str)
        ``us`` or ``metric``; the reason in words.
    """
    if isinstance(area, str) and area.strip():
        metric = "mm" in area.casefold() or area.casefold().rstrip().endswith(("m2", "m²", "m^2"))
        return ("metric" if metric else "us"), f"the conductor's area is stated as {area.strip()}"
    return "us", "no area of the conductor is stated"


def _assists(pulling: Table) -> dict[str, float]:
    """Read ``assists = { "MH-5" = "2000 lbf" }``: the keys are vault tags."""
    written = pulling.values.get("assists")
    table = pulling.sub("assists")
    if not isinstance(written, dict):
        return {}
    found = {tag: table.quantity(tag, "force", above=0.0) for tag in written}
    return {tag: force for tag, force in found.items() if force is not None}


def read_overrides(limits: Table) -> dict[str, Override]:
    """Read ``[limits]``: for each check a limit alone, or a table of limit and binding.

    Parameters
    ----------
    limits : Table
        ``[limits]``, or the limits of another bundle.

    Returns
    -------
    dict of str to Override
        By the names of checks.
    """
    found = {}
    for name, kind in OVERRIDABLE.items():
        written = limits.values.get(name)
        if isinstance(written, dict):
            table = limits.sub(name)
            limit, binding = _limit(table, "limit", kind), table.flag("binding")
            stated = ", ".join(f"{key} {value}" for key, value in written.items())
        else:
            limit, binding, stated = _limit(limits, name, kind), None, str(written)
        if limit is not None or binding is not None:
            found[name] = Override(limit, binding)
            limits.override(f"{limits.name}.{name}: {stated}, as the job says, in place of the table.")
    return found


def _limit(table: Table, key: str, kind: str) -> float | None:
    if not kind:
        return table.number(key, above=0.0)
    return table.quantity(key, kind, above=None if kind == "temperature" else 0.0)


def read_plan(table: Table) -> PlanRules:
    """Read ``[plan]``: reels, slack, prices, vaults where splices must or may not be.

    Parameters
    ----------
    table : Table
        ``[plan]``.

    Returns
    -------
    PlanRules
        Faults are on the table's record.
    """
    cost = table.sub("cost")
    base = Costs()
    prices = {
        key: cost.number(key, at_least=0.0, at_most=_DEAREST)
        for key in ("splice", "setup", "relube", "middle_feed")
    }
    reels = read_reels(table)
    waste = _waste(cost)
    if waste and not reels:
        cost.fault(
            "waste", "is a price of what is left on a reel, and [plan] reels does not say which there are"
        )
    named = {key: table.texts(key) or () for key in ("splice_at", "no_splice", "no_feed", "no_pull")}
    splice_at, no_splice, no_feed, no_pull = named.values()
    for tag in set(named["splice_at"]) & set(named["no_splice"]):
        table.fault("splice_at", f'and no_splice both name "{tag}"; leave it out of one of them')
    return PlanRules(
        costs=Costs(**{key: getattr(base, key) if price is None else price for key, price in prices.items()}),
        reel=table.quantity("reel", "length", above=0.0),
        slack=table.quantity("slack", "length", at_least=0.0) or 0.0,
        middle_feed=bool(table.flag("middle_feed")),
        reels=reels,
        waste=waste,
        splice_at=splice_at,
        no_splice=no_splice,
        no_feed=no_feed,
        no_pull=no_pull,
    )


def read_reels(table: Table) -> tuple[Reel, ...]:
    """Read ``reels = [{ length = "2500 ft", cost = 4.0 }, ...]``: the sizes that cable can be bought on.

    Parameters
    ----------
    table : Table
        ``[plan]``, or another bundle.

    Returns
    -------
    tuple of Reel
        None where none are stated.
    """
    table.allow("reels")
    written = table.values.get("reels")
    if written is None:
        return ()
    if not isinstance(written, list) or not written or not all(isinstance(one, dict) for one in written):
        table.fault("reels", 'must be a list of tables, such as [{ length = "2500 ft", cost = 4.0 }]')
        return ()
    if "reel" in table:
        table.fault("reels", "and reel are both stated; the longest of the reels is the longest there is")
    found = []
    for number, one in enumerate(written, 1):
        size = Table(f"{table.name}.reels[{number}]", one, table.record)
        length = size.quantity("length", "length", above=0.0, required=True)
        price = size.number("cost", at_least=0.0, at_most=_DEAREST)
        if length is not None:
            found.append(Reel(length, price or 0.0))
    return tuple(found)


def _waste(cost: Table) -> float:
    """Read ``waste = { price = 0.5, per = "100 ft" }``: what cable left on a reel costs, per metre."""
    if "waste" not in cost:
        cost.allow("waste")
        return 0.0
    table = cost.sub("waste")
    price = table.number("price", at_least=0.0, at_most=_DEAREST, required=True)
    per = table.quantity("per", "length", above=0.0, required=True)
    return price / per if price is not None and per is not None else 0.0


def read_pulls(tables: list[Table]) -> tuple[PullRequest, ...]:
    """Read every ``[[pull]]``.

    Parameters
    ----------
    tables : list of Table
        One each.

    Returns
    -------
    tuple of PullRequest
        Those without fault.
    """
    found = []
    for table in tables:
        feed = table.text("feed", required=True)
        pull = table.text("pull", required=True)
        via, relube = table.texts("via") or (), table.texts("relube") or ()
        if feed is not None and feed == pull:
            table.fault("pull", f'must be another vault than feed, got "{pull}" for both')
        if feed is not None and pull is not None:
            found.append(PullRequest(feed, pull, via, relube))
    return tuple(found)

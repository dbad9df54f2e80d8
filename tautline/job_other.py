"""``[[other_bundle]]``: where along the feeder another bundle is pulled, with the limits and reels that go with it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from mechanics.cable import Bundle, Cable
from mechanics.rules import Rules
from mechanics.tables import built_in
from network.plan import PlanRules, Reel
from tautline.bores import Lining
from tautline.job_bundle import read_bundle
from tautline.job_ducts import read_friction
from tautline.job_rules import practice_of, read_overrides, read_reels
from tautline.job_table import Table

# What is on a cable's data sheet: one of these stated, the cable is another one, and all of it is stated here.
_SHEET = (
    "diameter",
    "weight",
    "conductor",
    "construction",
    "jacket",
    "sheath_area",
    "name",
    "max_sidewall",
    "triplexed",
)
# What goes with the lie of the bundle, and with no other bundle.
_LIE = ("arrangement", "weight_correction", "sidewall_factor")
_BESIDE = ("ground", "fibre")
# Limits that hold for one bundle: stated for the first, they say nothing of another.
_OF_BUNDLE = (
    "max_tension",
    "conductor_tension",
    "eye_tension",
    "grip_tension",
    "sheath_tension",
    "restart_tension",
    "max_sidewall",
    "restart_sidewall",
    "bending_radius",
    "bending_radius_pulling",
    "clearance",
)


@dataclass(frozen=True)
class StatedBundle:
    """What the job says of a stretch with another bundle.

    Parameters
    ----------
    first, last : str
        Tags of the vaults it lies between.
    bundle : Bundle
        What is pulled there.
    rules : Rules
        By which limits.
    lining : Lining
        Ducts and friction as they are for this bundle.
    reel : float or None
        Longest cable of it on one reel. [m]
    reels : tuple of Reel
        Sizes it comes on.
    """

    first: str
    last: str
    bundle: Bundle
    rules: Rules
    lining: Lining
    reel: float | None
    reels: tuple[Reel, ...]


@dataclass(frozen=True)
class Common:
    """What holds for the bundle of ``[bundle]``, and for others where they say nothing.

    Parameters
    ----------
    sheet, limits, pulling : Table
        ``[bundle]``, ``[limits]`` and ``[pulling]``.
    bundle : Bundle or None
        As read; None where a fault stands in the way.
    rules : Rules
        As the job states them for it.
    lining : Lining
        Ducts and friction for it.
    plan : PlanRules
        For its reels.
    """

    sheet: Table
    limits: Table
    pulling: Table
    bundle: Bundle | None
    rules: Rules
    lining: Lining
    plan: PlanRules


def read_others(tables: list[Table], common: Common) -> tuple[StatedBundle, ...]:
    """Read every ``[[other_bundle]]``.

    Parameters
    ----------
    tables : list of Table
        One each.
    common : Common
        What holds where they say nothing.

    Returns
    -------
    tuple of StatedBundle
        Those without fault; faults are on the tables' record.
    """
    found = [_read(table, common) for table in tables]
    return tuple(one for one in found if one is not None)


def _read(table: Table, common: Common) -> StatedBundle | None:
    first, last = table.text("from", required=True), table.text("to", required=True)
    if first is not None and first == last:
        table.fault("to", f'must be another vault than from, got "{last}" for both')
    own = any(key in table for key in _SHEET)
    limits = table.sub("limits")
    sheet = _sheet(table, common.sheet, own)
    rules = common.rules
    bundle, max_sidewall = read_bundle(sheet, limits if own else common.limits, rules.tables or built_in())
    overrides = read_overrides(limits)
    same = bundle is not None and common.bundle is not None and _power(bundle) == _power(common.bundle)
    for name, stated in rules.overrides.items():
        if name in _OF_BUNDLE and stated.limit is not None and not same and name not in overrides:
            message = (
                f"is missing: [limits] {name} was stated for the cables of [bundle], and these are others"
            )
            limits.fault(name, message)
    reel, reels = table.quantity("reel", "length", above=0.0), read_reels(table)
    if reel is None and not reels:
        reel, reels = common.plan.reel, common.plan.reels
        if (reel is not None or reels) and not same:
            table.assume(f"{table.name}.reel not stated: as in [plan] taken.")
    slides = table.sub("friction")
    friction = read_friction(slides)
    if slides.values and "lubricated" not in slides:
        slides.fault(
            "lubricated", "is missing: the friction of this bundle is stated whole, or as in [friction]"
        )
    if bundle is None or common.bundle is None or first is None or last is None:
        return None
    jackets = {b.cables[0].jacket for b in (bundle, common.bundle)}
    if friction[0] is None and common.lining.lubricated is not None and len(jackets) > 1:
        table.assume(
            f"{table.name}.friction not stated: as in [friction] taken, though the jacket is another."
        )
    conductor = sheet.values.get("conductor")
    area = conductor.get("area") if isinstance(conductor, dict) else None
    practice = rules.practice
    if "practice" not in common.pulling:
        practice, why = practice_of(area)
        if practice != rules.practice:
            table.assume(f"{table.name}: conductor stresses of {practice} practice taken ({why}).")
    longest = replace(common.plan, reel=reel, reels=reels).longest
    rules = replace(
        rules,
        max_sidewall=max_sidewall,
        practice=practice,
        overrides={**rules.overrides, **overrides},
        reel=None if math.isinf(longest) else longest,
    )
    lining = common.lining.for_cable(bundle.cables[0].jacket, *friction)
    return StatedBundle(first, last, bundle, rules, lining, reel, reels)


def _sheet(table: Table, first: Table, own: bool) -> Table:
    """What is pulled, as ``[bundle]`` would say it: what is left out is as there, but never half of a data sheet."""
    known = {*_SHEET, *_LIE, *_BESIDE, "cables"}
    for key in known:
        table.allow(key)
    if not own and not any(key in table for key in (*_LIE, *_BESIDE, "cables")):
        table.fault(
            "cables", "is missing, or diameter, or ground: what is pulled here that is not as in [bundle]"
        )
    kept = (*_BESIDE, "cables") if own else (*_SHEET, *_BESIDE, "cables")
    values = {key: first.values[key] for key in kept if key in first.values}
    values |= {key: table.values[key] for key in known if key in table.values}
    for key in _BESIDE:
        if values.get(key) is False:  # not even the one of [bundle]
            del values[key]
    return Table(table.name, values, table.record, like="bundle")


def _power(bundle: Bundle) -> list[Cable]:
    return [cable for cable in bundle.cables if cable.role == "power"]

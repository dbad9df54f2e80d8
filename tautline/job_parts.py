"""The tables of the job file, one function each: from strict tables to the objects the packages below take."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, cast

from mechanics.cable import Arrangement, Attachment, Bundle, Cable, Material
from mechanics.errors import DomainError
from mechanics.pull import Override, Rules
from mechanics.tables import built_in, inside_diameter
from network import Guides, guide_bend
from network.plan import Costs, PlanRules
from routeio.options import ReadOptions, Selection
from tautline.bores import Lining
from tautline.job_table import Table

_ARRANGEMENTS = ("single", "pair", "triangular", "cradled", "diamond", "circle")
_DUCT_FIELDS = ("size", "type", "inside_diameter", "friction", "count", "free", "length", "id")
_VAULT_FIELDS = ("name", "kind", "rim", "invert", "splice", "feed", "pull")

# Checks whose limit a job may state, and what kind of value the limit is.
_LIMITS = {
    "max_tension": "force",
    "max_sidewall": "sidewall",
    "bending_radius": "length",
    "clearance": "length",
    "bend_total": "angle",
}


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


def read_route(table: Table, folder: Path) -> tuple[Path, ReadOptions, tuple[str, ...]]:
    """Read ``[route]``: where the drawing is, how to read it, which feeder."""
    source = table.text("source", required=True)
    path = folder / (source or "")
    if source and not path.is_file():
        table.fault("source", f'names "{source}", and there is no such file in {folder.resolve()}')
    feeder = table.texts("feeder") or ()
    if len(feeder) == 1:
        table.fault("feeder", "must name at least two vaults, the first and the last")
    if len(set(feeder)) < len(feeder):
        table.fault("feeder", "names a vault twice")
    radii = _lengths(table, "standard_radii")
    base = ReadOptions()
    options = ReadOptions(
        ducts=_selection(table.sub("ducts"), _DUCT_FIELDS),
        vaults=_selection(table.sub("vaults"), _VAULT_FIELDS),
        units=table.text("units"),
        elevation_units=table.text("elevation_units"),
        crs=table.text("crs"),
        project_to=table.text("project_to"),
        snap=table.quantity("snap", "length", at_least=0.0) or 0.0,
        sweep=table.quantity("sweep", "length", above=0.0),
        chord_tolerance=table.quantity("chord_tolerance", "length", above=0.0) or base.chord_tolerance,
        scatter=table.quantity("scatter", "length", at_least=0.0),
        standard_radii=base.standard_radii if radii is None else radii,
        encoding=table.text("encoding"),
        recover=bool(table.flag("recover")),
    )
    return path, options, feeder


def _selection(table: Table, fields: tuple[str, ...]) -> Selection:
    layer = table.texts("layer") or ()
    where = table.text("where")
    named = {name: table.text(name) for name in fields}
    return Selection(layer, where, {name: value for name, value in named.items() if value is not None})


def _lengths(table: Table, key: str) -> tuple[float, ...] | None:
    written = table.texts(key)
    if written is None:
        return None
    found = [table.measure(key, text, "length", above=0.0) for text in written]
    return tuple(length for length in found if length is not None)


def read_bundle(table: Table, limits: Table) -> tuple[Bundle | None, float | None]:
    """Read ``[bundle]``: the cables, and the sidewall limit of their data sheet."""
    count = table.whole("cables", at_least=1, at_most=6, required=True)
    diameter = table.quantity("diameter", "diameter", above=0.0, at_most=0.5, required=True)
    weight = table.quantity("weight", "weight", above=0.0, required=True)
    conductor = table.sub("conductor")
    stated = "conductor" in table
    if not stated and "max_tension" not in limits:
        table.fault(
            "conductor",
            'is missing; it must be { material = "copper", area = "500 kcmil" }, '
            "unless [limits] max_tension states what the cable may be pulled with",
        )
    material = conductor.text("material", choices=("copper", "aluminium"), required=stated)
    area = conductor.quantity("area", "area", above=0.0, required=stated)
    cores = conductor.whole("count", at_least=1, at_most=100)
    tempers = [e.key[1] for e in built_in().rows("conductor_stress") if e.key[0] == material]
    temper = conductor.text("temper", choices=list(dict.fromkeys(tempers))) if stated else None
    cable_construction = table.text("construction", choices=[e.key[0] for e in built_in().rows("sidewall")])
    jacket = table.text("jacket") or ""
    sheath = table.quantity("sheath_area", "area", above=0.0)
    name = table.text("name") or ""
    arrangement = cast("Arrangement | None", table.text("arrangement", choices=_ARRANGEMENTS))
    triplexed = bool(table.flag("triplexed"))
    max_sidewall = table.quantity("max_sidewall", "sidewall", above=0.0)
    if triplexed and count not in (None, 3):
        table.fault("triplexed", f"means three single cables twisted together, and cables is {count}")
    if count is None or diameter is None or weight is None:
        return None, max_sidewall
    cable = Cable(
        diameter=diameter,
        weight=weight,
        material=cast("Material", material or "copper"),
        conductor_area=area,
        conductors=cores or 1,
        temper=temper or "annealed",
        construction=cable_construction or "shielded",
        jacket=jacket,
        sheath_area=sheath or 0.0,
        name=name,
    )
    return Bundle((cable,) * count, arrangement, triplexed), max_sidewall


def read_lining(duct: Table, friction: Table, jacket: str, layers: list[Table]) -> Lining:
    """Read ``[duct]``, ``[friction]`` and ``[[duct_layer]]``: what a span has when its own fields say nothing."""
    size, kind, diameter = _size(duct)
    if (size is None) != (kind is None) and diameter is None and size is not None:
        duct.fault("type", "is missing beside trade_size, unless the ducts' own fields hold it")
    lubricated, dry, hold = _friction(friction)
    lining = Lining(size, kind, diameter, lubricated, dry, hold, jacket)
    named = []
    for table in layers:
        layer = table.text("layer", required=True)
        own = _size(table)
        if own == (None, None, None):
            table.fault(
                "trade_size", "is missing, with type, or inside_diameter: what this layer's ducts are"
            )
        if layer is not None:
            # what the layer leaves out is as in [duct]; a size of its own stands against a diameter stated there
            named.append(
                (
                    layer,
                    replace(
                        lining,
                        trade_size=own[0] or size,
                        type=own[1] or kind,
                        inside_diameter=own[2] if own[2] or own[0] else diameter,
                    ),
                )
            )
    return replace(lining, layers=tuple(named))


def _size(table: Table) -> tuple[str | None, str | None, float | None]:
    size = table.text("trade_size")
    kind = table.text("type")
    diameter = table.quantity("inside_diameter", "diameter", above=0.0, at_most=5.0)
    if diameter is None and size is not None and kind is not None:
        try:
            inside_diameter(size, kind)
        except DomainError as error:
            table.fault("trade_size", f'"{size}" with type "{kind}" is not in the table of ducts: {error}')
    return size, kind, diameter


def _friction(friction: Table) -> tuple[float | None, float | None, float | None]:
    lubricated = friction.number("lubricated", above=0.0, at_most=2.0)
    dry = friction.number("dry", above=0.0, at_most=2.0)
    hold = friction.quantity("hold", "length", above=0.0)
    if "dry" in friction and "hold" not in friction:
        friction.fault("hold", "is missing beside dry: the distance over which the lubricant holds")
    if "hold" in friction and "dry" not in friction and "lubricated" in friction:
        friction.fault("dry", "is missing beside hold: the friction where the lubricant is worn off")
    if lubricated is not None and dry is not None and dry < lubricated:
        friction.fault("dry", f"must be at least lubricated, {lubricated:g}, got {dry:g}")
    return lubricated, dry, hold


def read_guides(table: Table) -> Guides | None:
    """Read ``[guides]``: what the cable turns on in vaults, and at the feed and the pull where stated."""
    radius = table.quantity("radius", "length", above=0.0)
    friction = table.number("friction", at_least=0.0, at_most=2.0)
    feed = table.quantity("feed", "angle", above=0.0, at_most=3.15)
    pull = table.quantity("pull", "angle", above=0.0, at_most=3.15)
    if radius is None or friction is None:
        return None
    return Guides(
        radius=radius,
        friction=friction,
        feed=None if feed is None else guide_bend(radius, feed, friction),
        pull=None if pull is None else guide_bend(radius, pull, friction),
    )


def read_plan(table: Table) -> PlanRules:
    """Read ``[plan]``: reel, slack, prices."""
    cost = table.sub("cost")
    base = Costs()
    prices = {key: cost.number(key, at_least=0.0) for key in ("splice", "setup", "relube", "middle_feed")}
    return PlanRules(
        costs=Costs(**{key: getattr(base, key) if price is None else price for key, price in prices.items()}),
        reel=table.quantity("reel", "length", above=0.0),
        slack=table.quantity("slack", "length", at_least=0.0) or 0.0,
        middle_feed=bool(table.flag("middle_feed")),
    )


def read_rules(
    pulling: Table, limits: Table, plan: PlanRules, max_sidewall: float | None, units: str | None
) -> Rules:
    """Read ``[pulling]`` and ``[limits]``: how a pull is set up and what it is judged by."""
    attachment = pulling.text("attachment", choices=("eye", "grip"))
    entry = pulling.quantity("entry", "force", at_least=0.0)
    restart = pulling.number("restart", at_least=1.0, at_most=5.0)
    practice = pulling.text("practice", choices=("us", "metric"))
    if practice is None:
        practice = "metric" if units == "si" else "us"
        pulling.assume(
            f"pulling.practice not stated: conductor stresses of {practice} practice taken (by [job] units)."
        )
    return Rules(
        entry=entry or 0.0,
        attachment=cast("Attachment", attachment or "eye"),
        max_sidewall=max_sidewall,
        overrides=_overrides(limits),
        practice=cast('Literal["us", "metric"]', practice),
        low_friction_factor=pulling.number("low_friction_factor", above=0.0, at_most=1.0),
        restart_factor=restart or 1.25,
        slack=plan.slack,
        reel=plan.reel,
        temperature=pulling.quantity("temperature", "temperature"),
        lubricant_factor=pulling.number("lubricant_factor", above=0.0, at_most=10.0) or 1.0,
    )


def _overrides(limits: Table) -> dict[str, Override]:
    """Read ``[limits]``: a limit alone, or a table of limit and binding."""
    found = {}
    for name, kind in _LIMITS.items():
        written = limits.values.get(name)
        if isinstance(written, dict):
            table = limits.sub(name)
            limit, binding = table.quantity("limit", kind, above=0.0), table.flag("binding")
        else:
            limit, binding = limits.quantity(name, kind, above=0.0), None
        if limit is not None or binding is not None:
            found[name] = Override(limit, binding)
            how = (
                f"{written}"
                if not isinstance(written, dict)
                else ", ".join(f"{k} {v}" for k, v in written.items())
            )
            limits.override(f"limits.{name}: {how}, stated in the job, stands in place of the table's.")
    return found


def read_pulls(tables: list[Table]) -> tuple[PullRequest, ...]:
    """Read every ``[[pull]]``."""
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

"""``[duct]``, ``[[duct_layer]]``, ``[friction]`` and ``[guides]``: what the cable slides in and turns on."""

from __future__ import annotations

from dataclasses import replace

from mechanics.errors import DomainError
from mechanics.tables import Tables, friction_default, inside_diameter
from network import Guides, guide_bend
from tautline.bores import Lining
from tautline.job_table import Table, nearest


def read_lining(duct: Table, friction: Table, layers: list[Table], jacket: str, tables: Tables) -> Lining:
    """Read what a span has when its own fields say nothing.

    Parameters
    ----------
    duct, friction : Table
        ``[duct]`` and ``[friction]``.
    layers : list of Table
        Every ``[[duct_layer]]``.
    jacket : str
        Of the cable, for the friction defaults.
    tables : Tables
        Of ducts and frictions.

    Returns
    -------
    Lining
        Faults are on the tables' record.
    """
    size, kind, diameter = _size(duct, tables)
    if (size is None) != (kind is None) and diameter is None and size is not None:
        duct.fault("type", "is missing beside trade_size, unless the ducts' own fields hold it")
    lubricated, dry, hold = read_friction(friction)
    pressed, force = _pressed(friction, lubricated)
    lining = Lining(
        trade_size=size,
        type=kind,
        inside_diameter=diameter,
        lubricated=lubricated,
        dry=dry,
        hold=hold,
        pressed=pressed,
        press_force=force,
        waviness=_waviness(duct),
        flooded=bool(duct.flag("flooded")),
        jacket=jacket,
        tables=tables,
    )
    named = []
    for table in layers:
        layer = table.text("layer", required=True)
        own, wet = _size(table, tables), table.flag("flooded")
        if own == (None, None, None) and wet is None:
            table.fault(
                "trade_size",
                "is missing, with type, or inside_diameter, or flooded: what this layer's ducts are",
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
                        flooded=lining.flooded if wet is None else wet,
                    ),
                )
            )
    return replace(lining, layers=tuple(named))


def _size(table: Table, tables: Tables) -> tuple[str | None, str | None, float | None]:
    size = table.text("trade_size")
    kind = table.text("type")
    diameter = table.quantity("inside_diameter", "diameter", above=0.0, at_most=5.0)
    if diameter is None and size is not None and kind is not None:
        try:
            inside_diameter(size, kind, tables)
        except DomainError as error:
            table.fault("trade_size", f'"{size}" with type "{kind}" is not in the table of ducts: {error}')
    elif kind is not None and "is not in the table" in friction_default("polyethylene", kind, tables)[2]:
        known = list(dict.fromkeys(row.key[0] for row in tables.rows("ducts")))
        if kind.casefold() not in [name.casefold() for name in known]:
            listed = ", ".join(f'"{name}"' for name in known)
            table.fault("type", f'must be one of {listed}, got "{kind}"{nearest(kind, known)}')
    return size, kind, diameter


def read_friction(friction: Table) -> tuple[float | None, float | None, float | None]:
    """Read the coefficients of lubricated and of dry duct, and how far the lubricant holds.

    Parameters
    ----------
    friction : Table
        ``[friction]``, or that of another bundle.

    Returns
    -------
    tuple of (float or None, float or None, float or None)
        None where not stated. [-, -, m]
    """
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


def _pressed(friction: Table, lubricated: float | None) -> tuple[float | None, float | None]:
    """Read the coefficient of a cable that is pressed hard, and how hard that is."""
    pressed = friction.number("pressed", above=0.0, at_most=2.0)
    force = friction.quantity("press_force", "weight", above=0.0)
    if ("pressed" in friction) != ("press_force" in friction):
        missing, there = ("press_force", "pressed") if "pressed" in friction else ("pressed", "press_force")
        friction.fault(missing, f"is missing beside {there}")
    if "pressed" in friction and lubricated is None:
        friction.fault(
            "lubricated", "is missing beside pressed: the coefficient of a cable that is not pressed hard"
        )
    return pressed, force


def _waviness(duct: Table) -> float:
    """Read ``waviness = { turn = "10 deg", over = "100 ft" }``."""
    table = duct.sub("waviness")
    stated = "waviness" in duct
    turn = table.quantity("turn", "angle", at_least=0.0, required=stated)
    over = table.quantity("over", "length", above=0.0, required=stated)
    return turn / over if turn is not None and over is not None else 0.0


def read_guides(table: Table) -> Guides | None:
    """Read ``[guides]``: what the cable turns on in vaults, and at the feed and the pull where stated.

    Parameters
    ----------
    table : Table
        ``[guides]``.

    Returns
    -------
    Guides or None
        None where a fault stands in the way.
    """
    radius = table.quantity("radius", "length", above=0.0)
    friction = table.number("friction", above=0.0, at_most=2.0)
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

"""``[bundle]`` of the job file: the cables, from their data sheet."""

from __future__ import annotations

from typing import Literal, cast

from mechanics.cable import Arrangement, Bundle, Cable, Material
from mechanics.tables import Tables, friction_default, least_temperature
from tautline.job_table import Table, nearest

_ARRANGEMENTS = ("single", "pair", "triangular", "cradled", "diamond", "circle")
_THICKEST = 0.5  # m; a diameter beyond it is a wrong unit


def read_bundle(table: Table, limits: Table, tables: Tables) -> tuple[Bundle | None, float | None]:
    """Read ``[bundle]``.

    Parameters
    ----------
    table, limits : Table
        ``[bundle]`` and ``[limits]``.
    tables : Tables
        For the constructions and tempers there are.

    Returns
    -------
    bundle : Bundle or None
        None where a fault stands in the way.
    max_sidewall : float or None
        Of the cable's data sheet. [N/m]
    """
    count = table.whole("cables", at_least=1, at_most=6, required=True)
    if "conductor" not in table and "max_tension" not in limits:
        table.fault(
            "conductor",
            'is missing; it must be { material = "copper", area = "500 kcmil" }, '
            "unless [limits] max_tension states what the cable may be pulled with",
        )
    cable = _cable(table, "power", tables)
    beside = _beside(table, "ground", tables) + _beside(table, "fibre", tables)
    arrangement = cast("Arrangement | None", table.text("arrangement", choices=_ARRANGEMENTS))
    triplexed = bool(table.flag("triplexed"))
    correction = table.number("weight_correction", at_least=1.0, at_most=10.0)
    factor = table.number("sidewall_factor", above=0.0, at_most=10.0)
    max_sidewall = table.quantity("max_sidewall", "sidewall", above=0.0)
    if triplexed and count not in (None, 3):
        table.fault("triplexed", f"means three single cables twisted together, and cables is {count}")
    if count is None or cable is None:
        return None, max_sidewall
    for key, value in (("weight_correction", correction), ("sidewall_factor", factor)):
        if value is not None:
            table.override(f"bundle.{key}: {value:g}, stated in the job, holds in every duct.")
    return (
        Bundle(((cable,) * count + beside), arrangement, triplexed, correction, factor),
        max_sidewall,
    )


def _beside(table: Table, role: Literal["ground", "fibre"], tables: Tables) -> tuple[Cable, ...]:
    """Read a cable that rides beside the power cables, where there is one."""
    if role not in table:
        table.allow(role)
        return ()
    found = _cable(table.sub(role), role, tables)
    return () if found is None else (found,)


def _jacket(table: Table, tables: Tables) -> str | None:
    """Read the jacket, which sets friction and cold: one that no table knows is refused, never taken for another."""
    jacket = table.text("jacket")
    rows = [row.key[0] for name in ("friction", "temperature") for row in tables.rows(name)]
    known = list(dict.fromkeys(name for name in rows if name and name != "dry rope"))
    unknown = "is not in the table"  # said by both look-ups of a jacket that neither holds
    if jacket is None or any(
        unknown not in said
        for said in (friction_default(jacket, "", tables)[2], least_temperature(jacket, tables)[1])
    ):
        return jacket
    listed = ", ".join(f'"{name}"' for name in known)
    table.fault("jacket", f'must be one of {listed}, got "{jacket}"{nearest(jacket, known)}')
    return None


def _cable(table: Table, role: Literal["power", "ground", "fibre"], tables: Tables) -> Cable | None:
    """Read one cable; the sub-tables of ``[bundle]`` for a cable beside the others hold the same keys."""
    diameter = table.quantity("diameter", "diameter", above=0.0, at_most=_THICKEST, required=True)
    weight = table.quantity("weight", "weight", above=0.0, required=True)
    stated = "conductor" in table
    conductor = table.sub("conductor")
    material = conductor.text("material", choices=("copper", "aluminium"), required=stated)
    area = conductor.quantity("area", "area", above=0.0, required=stated)
    cores = conductor.whole("count", at_least=1, at_most=100)
    tempers = [row.key[1] for row in tables.rows("conductor_stress") if row.key[0] == material]
    temper = conductor.text("temper", choices=list(dict.fromkeys(tempers))) if stated else None
    constructions = [row.key[0] for row in tables.rows("sidewall")]
    construction = table.text("construction", choices=constructions, required=role != "power")
    jacket = _jacket(table, tables)
    sheath = table.quantity("sheath_area", "area", above=0.0)
    name = table.text("name")
    if diameter is None or weight is None:
        return None
    return Cable(
        diameter=diameter,
        weight=weight,
        material=cast("Material", material or "copper"),
        conductor_area=area,
        conductors=cores or 1,
        temper=temper or "annealed",
        construction=construction or "shielded",
        jacket=jacket or "",
        role=role,
        sheath_area=sheath,
        name=name or "",
    )

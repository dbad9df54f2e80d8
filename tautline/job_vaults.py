"""``[vaults]``: whether new vaults are proposed, and where they may stand."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from routeio.zones import ZoneLayer
from tautline.job_table import Table


@dataclass(frozen=True)
class NewVaults:
    """What the job says of new vaults.

    Parameters
    ----------
    lead : float
        Straight duct from a bend or another vault to a new one. [m]
    spacing : float or None
        Greatest distance from vault to vault. [m]
    step : float
        Between the places looked at. [m]
    keep_out, access : ZoneLayer or None
        Where none may stand, and where they stand in preference.
    """

    lead: float
    spacing: float | None
    step: float
    keep_out: ZoneLayer | None
    access: ZoneLayer | None


def read_vaults(table: Table, folder: Path) -> NewVaults | None:
    """Read ``[vaults]``.

    Parameters
    ----------
    table : Table
        ``[vaults]``.
    folder : Path
        Of the job file; zone layers are named from there.

    Returns
    -------
    NewVaults or None
        None where no new vaults are to be proposed.
    """
    wanted = table.flag("propose")
    if not wanted:
        stated = [k for k in ("lead", "spacing", "step", "keep_out", "access") if k in table]
        for key in ("lead", "spacing", "step", "keep_out", "access"):
            table.allow(key)
        if stated:
            table.fault("propose", f"must be true for {', '.join(stated)} to mean anything")
        return None
    lead = table.quantity("lead", "length", at_least=0.0)
    step = table.quantity("step", "length", above=0.0)
    spacing = table.quantity("spacing", "length", above=0.0)
    keep_out, access = (_zones(table.sub(key), folder) for key in ("keep_out", "access"))
    if lead is None or step is None:
        return None
    if spacing is not None and not spacing > 2.0 * max(lead, step):
        table.fault("spacing", "must be more than twice the lead and the step, or no vault could be placed")
    return NewVaults(lead, spacing, step, keep_out, access)


def _zones(table: Table, folder: Path) -> ZoneLayer | None:
    name, layer = table.text("file"), table.text("layer")
    if not table.values:
        return None
    if name is None:
        table.fault("file", "is missing: the GIS file that holds the zones")
        return None
    if not (folder / name).is_file():
        table.fault("file", f'names "{name}", and there is no such file in {folder.resolve()}')
        return None
    return ZoneLayer(folder / name, layer)

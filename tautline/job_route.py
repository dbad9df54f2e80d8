"""``[route]`` of the job file: where the drawing is, how to read it, which feeder."""

from __future__ import annotations

from pathlib import Path

from routeio.findings import InputRefusedError
from routeio.options import ProfileTable, ReadOptions, Selection, Terrain
from routeio.profile_table import read_profile, stated_profile
from tautline.job_table import Table

_DUCT_FIELDS = (
    "size",
    "type",
    "inside_diameter",
    "friction",
    "count",
    "free",
    "length",
    "flooded",
    "id",
    "profile",
)
_VAULT_FIELDS = ("name", "kind", "rim", "invert", "splice", "feed", "pull")


def read_route(table: Table, folder: Path) -> tuple[Path, ReadOptions, tuple[str, ...]]:
    """Read ``[route]``.

    Parameters
    ----------
    table : Table
        ``[route]``.
    folder : Path
        Of the job file; the drawing is named from there.

    Returns
    -------
    source : Path
        The drawing or layer.
    options : ReadOptions
        How to read it.
    feeder : tuple of str
        Vault tags; empty where not stated.
    """
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
        ducts=_selection(table.sub("ducts"), _DUCT_FIELDS, block=False),
        vaults=_selection(table.sub("vaults"), _VAULT_FIELDS, block=True),
        units=table.text("units"),
        elevation_units=table.text("elevation_units"),
        crs=table.text("crs"),
        project_to=table.text("project_to"),
        snap=table.quantity("snap", "length", at_least=0.0) or 0.0,
        sweep=table.quantity("sweep", "length", above=0.0),
        chord_tolerance=table.quantity("chord_tolerance", "length", above=0.0) or base.chord_tolerance,
        scatter=table.quantity("scatter", "length", at_least=0.0),
        standard_radii=base.standard_radii if radii is None else radii,
        text_reach=table.quantity("text_reach", "length", at_least=0.0) or base.text_reach,
        encoding=table.text("encoding"),
        recover=bool(table.flag("recover")),
        profile=_profile(table.sub("profile"), folder),
        terrain=_terrain(table.sub("terrain"), folder),
    )
    return path, options, feeder


def _profile(table: Table, folder: Path) -> ProfileTable | None:
    """Read elevations along the route: from a file, or row by row."""
    name, units = table.text("file"), table.text("units")
    rows = table.rows("rows")
    if not table.values:
        return None
    if (name is None) == (rows is None):
        table.fault(
            "file", "or rows must be stated, and not both: a table of stations, elevations and vaults"
        )
        return None
    try:
        if rows is not None:
            return stated_profile(rows, table.record.file)
        return read_profile(folder / str(name), units)
    except InputRefusedError as refusal:
        table.fault("file" if name else "rows", f"holds a table that cannot be used: {refusal}")
        return None


def _terrain(table: Table, folder: Path) -> Terrain | None:
    """Read which grid holds the ground, and how deep under it ducts lie."""
    for key in ("file", "units", "cover", "scatter"):
        table.allow(key)
    if not table.values:
        return None
    name = table.text("file", required=True)
    cover = table.quantity("cover", "length", at_least=0.0, required=True)
    units = table.text("units")
    scatter = table.quantity("scatter", "length", above=0.0)
    if name and not (folder / name).is_file():
        table.fault("file", f'names "{name}", and there is no such file in {folder.resolve()}')
    if name is None or cover is None or scatter is None:
        return None
    return Terrain(str(folder / name), cover, units, scatter)


def _selection(table: Table, fields: tuple[str, ...], *, block: bool) -> Selection:
    layer = table.texts("layer") or ()
    where = table.text("where")
    named = {name: table.text(name) for name in fields}
    return Selection(
        layer,
        where,
        {name: value for name, value in named.items() if value is not None},
        table.colors("color") or (),
        table.texts("linetype") or (),
        (table.texts("block") or ()) if block else (),
    )


def _lengths(table: Table, key: str) -> tuple[float, ...] | None:
    written = table.texts(key)
    if written is None:
        return None
    found = [table.measure(key, text, "length", above=0.0) for text in written]
    return tuple(length for length in found if length is not None)

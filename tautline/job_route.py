"""``[route]`` of the job file: where the drawing is, how to read it, which feeder."""

from __future__ import annotations

from pathlib import Path

from routeio.options import ReadOptions, Selection
from tautline.job_table import Table

_DUCT_FIELDS = ("size", "type", "inside_diameter", "friction", "count", "free", "length", "id")
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
    )
    return path, options, feeder


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

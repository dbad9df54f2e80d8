"""The result as a GeoPackage: sections, pulls, segments, vaults and findings in the coordinates of the input."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tautline.deliver.atomic import replacing
from tautline.deliver.bundles import cables_in
from tautline.deliver.frame import Document, Pull, pulls_of, sections_of
from tautline.deliver.gis_styles import styles
from tautline.deliver.present import Units, ratio
from tautline.document import bundle_of
from tautline.errors import OutputError

if TYPE_CHECKING:
    from shapely import LineString

Row = dict[str, Any]

LAYERS = {
    "sections": (
        "MultiLineString Z",
        "section from_vault to_vault cable_length_m pulls utilisation verdict cables",
    ),
    "pulls": (
        "LineString Z",
        "pull section feed_vault pull_vault passes relube length_m entry_tension_N holding_tension_N brake_tension_N "
        "exit_tension_N max_tension_N max_sidewall_N_per_m limit_tension_N limit_sidewall_N_per_m utilisation band governs verdict "
        "reverse_exit_tension_N reverse_max_sidewall_N_per_m reverse_utilisation reverse_verdict lubricant_L cables",
    ),
    "segments": (
        "LineString Z",
        "pull segment station_m length_m grade_in_deg grade_out_deg turn_deg radius_m friction weight_correction "
        "inside_diameter_m guide tension_out_N source_id how",
    ),
    "vaults": ("Point Z", "tag kind roles station_m"),
    "findings": ("Point", "code severity message remedy file layer source_id"),
}
"""Geometry type and attributes of each layer, in the order in which they are written."""

_WHOLE = ("pull", "section", "segment", "pulls")
_NUMBERS = ("_m", "_N", "_N_per_m", "_deg", "_L", "utilisation", "friction", "weight_correction")


def write(document: Document, path: Path) -> None:
    """Write the GeoPackage of a result document.

    Coordinates are the document's metres divided by ``ground.metres_per_unit``, in its CRS; attributes are SI with
    the unit in the name, as in the document. Without a CRS the layers have an undefined one.

    Parameters
    ----------
    document : mapping
        A result document, valid against the schema.
    path : Path
        The file, replaced whole.

    Raises
    ------
    OutputError
        The file could not be written.
    """
    layers = tables(document)
    with replacing(path) as draft:
        _write_layers(layers, draft, path, document["crs"])
        _write_styles(draft)


def tables(document: Document) -> dict[str, list[Row]]:
    """Return the rows of every layer, each with its ``geometry``.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    dict
        Layer name to rows with the attributes of :data:`LAYERS`.
    """
    scale = 1.0 / document["ground"]["metres_per_unit"]
    pulls, units = pulls_of(document), Units.of(document)

    def cables(part: Mapping[str, Any]) -> str:
        return cables_in(bundle_of(document, part), units)

    return {
        "sections": [
            row | {"cables": cables(s)}
            for row, s in zip(_sections(document, pulls, scale), sections_of(document), strict=True)
        ],
        "pulls": [_pull(p, scale) | {"cables": cables(p.data)} for p in pulls],
        "segments": [row for p in pulls for row in _segments(p, scale)],
        "vaults": [_vault(v, scale) for v in document["vaults"]],
        "findings": [_finding(f, scale) for f in document["findings"]],
    }


def _sections(document: Document, pulls: Sequence[Pull], scale: float) -> list[Row]:
    from shapely import MultiLineString

    rows = []
    for number, section in enumerate(sections_of(document), 1):
        own = [p for p in pulls if p.section == number]
        lines = [line for p in own if (line := _line(p.data["path"], scale)) is not None]
        rows.append(
            {
                "section": number,
                "from_vault": section["from"],
                "to_vault": section["to"],
                "cable_length_m": section["cable_length_m"],
                "pulls": len(own),
                "utilisation": _worst([ratio(p.data) for p in own]),
                "verdict": "fail" if any(p.data["verdict"] == "fail" for p in own) else "pass",
                "geometry": MultiLineString(lines) if lines else None,
            }
        )
    return rows


def _worst(ratios: Sequence[float | None]) -> float | None:
    """The greatest; none where one of them does not tell."""
    told = [r for r in ratios if r is not None]
    return max(told) if told and len(told) == len(ratios) else None


def _pull(p: Pull, scale: float) -> Row:
    d, other = p.data, p.data["reverse"] or {}
    keys = (
        "length_m",
        "entry_tension_N",
        "holding_tension_N",
        "exit_tension_N",
        "max_tension_N",
        "max_sidewall_N_per_m",
    )
    return {
        "pull": p.number,
        "section": p.section or None,
        "feed_vault": d["feed"],
        "pull_vault": d["pull"],
        "passes": ", ".join(v["tag"] for v in d["passes"]),
        "relube": ", ".join(d["relube"]),
        **{key: d[key] for key in keys},
        "brake_tension_N": d.get("brake_tension_N"),
        "limit_tension_N": d["limits"]["max_tension_N"],
        "limit_sidewall_N_per_m": d["limits"]["max_sidewall_N_per_m"],
        "utilisation": ratio(d),
        "band": p.band.words,
        "governs": d["governs"],
        "verdict": d["verdict"],
        "reverse_exit_tension_N": other.get("exit_tension_N"),
        "reverse_max_sidewall_N_per_m": other.get("max_sidewall_N_per_m"),
        "reverse_utilisation": ratio(other) if other else None,
        "reverse_verdict": other.get("verdict"),
        "lubricant_L": d["lubricant"]["total_L"],
        "geometry": _line(d["path"], scale),
    }


def _segments(p: Pull, scale: float) -> list[Row]:
    s, path = p.data["segments"], p.data["path"]
    index = s.get("path_index")
    tension = _at_ends(p)
    rows = []
    for k, length in enumerate(s["length_m"]):
        angle = math.hypot(s["turn_rad"][k], s["grade_out_rad"][k] - s["grade_in_rad"][k])
        part = path[index[k] : index[k + 1] + 1] if index and len(index) == len(p.ends) else []
        rows.append(
            {
                "pull": p.number,
                "segment": k + 1,
                "station_m": p.ends[k],
                "length_m": length,
                "grade_in_deg": math.degrees(s["grade_in_rad"][k]),
                "grade_out_deg": math.degrees(s["grade_out_rad"][k]),
                "turn_deg": math.degrees(s["turn_rad"][k]),
                "radius_m": length / angle if angle > 1e-9 else None,
                "friction": s["friction"][k],
                "weight_correction": s["weight_correction"][k],
                "inside_diameter_m": s["inside_diameter_m"][k],
                "guide": bool(s["guide"][k]),
                "tension_out_N": tension[k],
                "source_id": s["id"][k],
                "how": s["how"][k],
                "geometry": _line(part, scale),
            }
        )
    return rows


def _at_ends(p: Pull) -> list[float]:
    """Tension at each segment's end, read off the profile."""
    stations, values = p.data["profile"]["station_m"], p.data["profile"]["tension_N"]
    out, j = [], 0
    for end in p.ends[1:]:
        while j < len(stations) - 1 and stations[j + 1] <= end + 1e-3:
            j += 1
        out.append(values[j])
    return out


def _vault(v: Mapping[str, Any], scale: float) -> Row:
    from shapely import Point

    z = math.nan if v["z"] is None else v["z"] * scale
    return {
        "tag": v["tag"],
        "kind": v["kind"],
        "roles": ", ".join(v["roles"]),
        "station_m": v["station_m"],
        "geometry": Point(v["x"] * scale, v["y"] * scale, z),
    }


def _finding(f: Mapping[str, Any], scale: float) -> Row:
    from shapely import Point

    w = f["where"]
    known = w["x"] is not None and w["y"] is not None
    return {
        "code": f["code"],
        "severity": f["severity"],
        "message": f["message"],
        "remedy": f["remedy"],
        "file": w["file"],
        "layer": w["layer"],
        "source_id": w["id"],
        "geometry": Point(w["x"] * scale, w["y"] * scale) if known else None,
    }


def _line(path: Sequence[Sequence[float | None]], scale: float) -> LineString | None:
    from shapely import LineString

    if len(path) < 2:
        return None
    return LineString([[math.nan if c is None else c * scale for c in p] for p in path])


def _write_layers(layers: Mapping[str, Sequence[Row]], draft: Path, path: Path, crs: str | None) -> None:
    import pandas
    import pyogrio.errors
    import pyproj.exceptions

    from routeio.write_gpkg import write_layer

    for name, rows in layers.items():
        geometry_type, names = LAYERS[name]
        # the type is ours: a column without any value would have none of its own
        data = pandas.DataFrame(
            {c: pandas.array([r[c] for r in rows], dtype=_dtype(c)) for c in names.split()}
        )
        try:
            write_layer(draft, name, geometry_type, data, [r["geometry"] for r in rows], crs)
        except pyproj.exceptions.CRSError as error:
            raise OutputError(path, f"the document's crs {crs!r} is unknown: {error}") from error
        except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
            raise OutputError(path, f"{error}: make room or choose another place") from error


def _write_styles(draft: Path) -> None:
    """A table of default styles, as QGIS looks for it in a GeoPackage."""
    import pandas
    import pyogrio

    made = styles()
    rows = pandas.DataFrame(
        {
            "f_table_catalog": "",
            "f_table_schema": "",
            "f_table_name": list(made),
            "f_geometry_column": "geom",
            "styleName": list(made),
            "styleQML": list(made.values()),
            "styleSLD": "",
            "useAsDefault": True,
            "description": "as made with the result",
            "owner": "",
            "ui": "",
            "update_time": pandas.Timestamp(2000, 1, 1),
        }
    )
    pyogrio.write_dataframe(rows, draft, layer="layer_styles", driver="GPKG", append=False)
    # no time of day in it: the same result always gives the same file
    with closing(sqlite3.connect(draft)) as base, base:
        base.execute("UPDATE gpkg_contents SET last_change = '2000-01-01T00:00:00.000Z'")


def _dtype(column: str) -> Any:
    if column in _WHOLE:
        return "Int64"
    if column == "guide":
        return "boolean"
    return "Float64" if column.endswith(_NUMBERS) else "string"

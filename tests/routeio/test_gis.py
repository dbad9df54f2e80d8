"""Layers: features good and bad, fields, filters, neighbours, sidecars; each fixture written by code."""

import importlib
import json
import os
import sqlite3
import subprocess
import sys

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from shapely.geometry import LineString, MultiLineString, MultiPoint, MultiPolygon, Point, Polygon

from routeio import gis_arrow, gis_open, gis_parquet
from routeio.findings import InputRefusedError
from routeio.options import Selection

FT = 0.3048
LINE = LineString([(500000, 5400000), (500100, 5400000)])


def shifted(geometry, x=0.0, y=0.0):
    return shapely.transform(geometry, lambda p: np.add(p, (x, y)))


@pytest.mark.parametrize("ending", ["gpkg", "shp", "geojson", "fgb"])
def test_formats_read_alike(layer, survey, ending):
    lines = [LINE, shifted(LINE, 100)]
    crs = "EPSG:32632"
    if ending == "geojson":
        # GeoJSON is in degrees: these are a hundred metres along a parallel near enough
        lines = [LineString([(9.0, 48.0), (9.001, 48.0)]), LineString([(9.001, 48.0), (9.002, 48.0)])]
        crs = "EPSG:4326"
    path = layer(lines, f"ducts.{ending}", "ducts", crs, "LineString", nm=["a", "b"], dia=["5", None])
    read = survey(path, ducts=Selection("ducts", fields={"id": "nm", "size": "dia"}))
    (duct,) = read.ducts  # the two meet with no vault between them
    assert [(p.fields.size, p.where.id) for p in duct.parts] == [("5", "a"), (None, "b")]
    assert [duct.at(k).fields.size for k in (0, len(duct.chain) - 1)] == ["5", None]
    # 0.002 degrees of longitude at 48 north: 149.2 m (WGS 84 ellipsoid: 74.625 m to the thousandth)
    assert duct.chain.total_length == pytest.approx(149.25 if ending == "geojson" else 200.0, rel=1e-3)
    assert read.counts == {"read LineString": 2}


def test_bad_geometries_are_reported_by_feature_and_the_rest_is_read(layer, raw, codes):
    path = layer(
        [
            LINE,
            None,
            LineString(),
            shapely.from_wkt("LINESTRING (500000 5400050, 500000 5400050)"),
            MultiLineString([[(500000, 5400010), (500010, 5400010)], [(500010, 5400010), (500020, 5400010)]]),
            Point(500000, 5400000),
        ],
        nm=list("abcdef"),
    )
    read = raw(path, ducts="ducts")
    by_code = {f.code: f for f in read.findings}
    assert by_code["geometry-null"].where.id == "2"
    assert by_code["geometry-empty"].where.id == "3"
    parts = by_code["multi-part"].where
    assert (parts.id, parts.x, parts.y) == ("5", 500000.0, 5400010.0)
    assert "1 points" in by_code["layer-guessed"].message
    assert [line.where.id for line in read.lines] == ["1", "4", "5.1", "5.2"]
    assert len(read.vaults) == 1
    assert sum(read.counts.values()) == 6


def test_a_line_of_one_point_does_not_fail_the_layer(layer, raw):
    path = layer([LINE, shifted(LINE, 0, 5)], nm=["a", "b"])
    with sqlite3.connect(path) as database:
        database.create_function("ST_IsEmpty", 1, lambda _: 0)
        for name in ("ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
            database.create_function(name, 1, lambda _: 0.0)
        (blob,) = database.execute("SELECT geom FROM ducts WHERE fid = 1").fetchone()
        start = len(blob) - (9 + 32)  # the WKB of two points: byte order, type, count, two times two doubles
        one = blob[: start + 5] + (1).to_bytes(4, "little") + blob[start + 9 : start + 25]
        database.execute("UPDATE ducts SET geom = ? WHERE fid = 1", (one,))
    read = raw(path, ducts="ducts")
    assert [line.where.id for line in read.lines] == ["2"]
    assert [f.where.id for f in read.findings if f.code == "geometry-broken"] == ["1"]


@pytest.mark.parametrize("table", [True, False], ids=["with pyarrow", "without"])
def test_a_geometry_that_no_one_can_read_does_not_fail_the_layer(layer, raw, monkeypatch, table):
    path = layer([LINE, shifted(LINE, 0, 5)], nm=["a", "b"])
    with sqlite3.connect(path) as database:
        for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f'DROP TRIGGER "{name}"')
        (blob,) = database.execute("SELECT geom FROM ducts WHERE fid = 1").fetchone()
        start = len(blob) - (9 + 32)
        many = blob[: start + 5] + b"\xff\xff\xff\x7f" + blob[start + 9 :]
        database.execute("UPDATE ducts SET geom = ? WHERE fid = 1", (many,))
    if table:
        pytest.importorskip("pyarrow", reason="pyarrow is not installed")
        read = raw(path, ducts="ducts")
        assert [line.where.id for line in read.lines] == ["2"]
        assert [f.where.id for f in read.findings if f.code == "geometry-broken"] == ["1"]
        return
    monkeypatch.setattr(gis_arrow, "pyarrow", None)
    with pytest.raises(InputRefusedError, match="Unable to read geometry") as refused:
        raw(path, ducts="ducts")
    assert refused.value.code == "damaged-layer"


@pytest.mark.parametrize(
    ("kind", "z", "words"),
    [("GEOMETRY", 0, "mixed kinds of geometry with measures"), ("TIN", 1, "triangles with z and measures")],
)
def test_a_type_that_cannot_be_read_is_refused_by_its_name(layer, raw, kind, z, words):
    path = layer([LINE], layer="measured")
    layer([LINE], append=True)
    before = sorted(os.listdir(path.parent))
    with sqlite3.connect(path) as database:
        told = "UPDATE gpkg_geometry_columns SET geometry_type_name = ?, z = ?, m = 1 WHERE table_name = 'measured'"
        database.execute(told, (kind, z))
    with pytest.raises(InputRefusedError, match=words) as refused:
        raw(path, ducts="ducts")
    assert (refused.value.code, refused.value.where.layer) == ("geometry-unsupported", "measured")
    assert sorted(os.listdir(path.parent)) == before


def test_a_count_out_of_date_loses_no_feature(layer, raw):
    path = layer([shifted(LINE, 0, 5 * k) for k in range(5)])
    with sqlite3.connect(path) as database:
        database.execute("UPDATE gpkg_ogr_contents SET feature_count = 2")
    assert len(raw(path, ducts="ducts").lines) == 5


def test_parts_that_touch_are_joined_and_others_not(layer, survey):
    parts = [[(500000, 5400000), (500010, 5400000)], [(500020, 5400000), (500010, 5400000)],
             [(500050, 5400000), (500070, 5400000)]]  # fmt: skip
    ducts = survey(layer([MultiLineString(parts)]), ducts="ducts").ducts
    assert sorted(d.chain.total_length for d in ducts) == pytest.approx([20, 20])


def test_filter_and_fields(layer, raw, survey):
    path = layer(
        [LINE, shifted(LINE, 0, 10), shifted(LINE, 0, 20)],
        status=["P", "P", "X"],
        dia=["5", "5 in", None],
        bore=["5.047 in", "128 mm", "128"],
        fr=[0.2, 0.3, 7.0],
        n=[6, 4, None],
        rec=[101.0, 150.0, None],
        wet=["yes", None, "half"],
    )
    chosen = Selection(
        "ducts",
        "status = 'P'",
        {
            "size": "dia",
            "inside_diameter": "BORE",
            "friction": "fr",
            "count": "n",
            "length": "rec",
            "flooded": "wet",
        },
    )
    read = raw(path, ducts=chosen)
    assert read.counts == {"read LineString": 2, "skipped by filter": 1}
    first, second = (line.fields for line in read.lines)
    assert (first.size, first.friction, first.count, first.recorded_length) == ("5", 0.2, 6, 101.0)
    assert (first.flooded, second.flooded) == (True, None)
    assert first.inside_diameter == pytest.approx(0.1281938)
    assert second.inside_diameter == pytest.approx(0.128)
    assert [f.code for f in survey(path, ducts=chosen).findings if f.code == "length-differs"] == [
        "length-differs"
    ]
    whole = raw(path, ducts=Selection("ducts", None, dict(chosen.fields)))
    assert whole.lines[2].fields.inside_diameter is None
    unreadable = [f.message for f in whole.findings if f.code == "field-unreadable"]
    # a bare number is no diameter, 7 is no friction coefficient, half is neither yes nor no
    assert len(unreadable) == 3
    assert "'128' of feature 3" in unreadable[0]


@pytest.mark.parametrize("bad", ["stat = 'P'", "status = = 'P'", "status = 'P"])
def test_a_filter_that_does_not_work(layer, raw, bad):
    with pytest.raises(InputRefusedError, match="'status'") as refused:
        raw(layer([LINE], status=["P"]), ducts=Selection("ducts", bad))
    assert refused.value.code == "bad-filter"


def test_missing_field_lists_those_there_are(layer, raw):
    with pytest.raises(InputRefusedError, match="'status'") as refused:
        raw(layer([LINE], status=["P"]), ducts=Selection("ducts", fields={"size": "dia"}))
    assert refused.value.code == "missing-field"
    path = layer([LINE], "ducts.shp", kind="LineString", inside_dia=["5 in"])
    with pytest.raises(InputRefusedError, match="ten letters"):
        raw(path, ducts=Selection("ducts", fields={"inside_diameter": "inside_diameter"}))


def test_missing_layer_lists_those_there_are(layer, raw):
    with pytest.raises(InputRefusedError, match="perhaps 'ducts'"):
        raw(layer([LINE]), ducts="duct")


def test_vaults_as_points_and_polygons(layer, survey):
    layer([LINE, shifted(LINE, 102)])
    circle = Point(500101, 5400000).buffer(1.0, quad_segs=23)  # 92 vertices
    path = layer(
        [
            Point(500000, 5400000),
            circle,
            MultiPoint([(500202, 5400000)]),
            MultiPolygon([Polygon(circle.exterior)]),
        ],
        layer="vaults",
        append=True,
        TAG=["A", "B", "C", "D"],
        inv=[101.25, None, 0.0, None],
        cls=["mh", "mh", "hh", None],
        may_splice=[1, 0, None, 1],
    )
    fields = {"name": "tag", "invert": "inv", "kind": "cls", "splice": "may_splice"}
    read = survey(path, ducts="ducts", vaults=Selection("vaults", fields=fields))
    by_tag = {v.tag: v for v in read.vaults}
    # C's 0 stays: no vault with an invert stands at the other end of its duct to tell that it means none
    assert {t: v.invert for t, v in by_tag.items()} == {"A": 101.25, "B": None, "C": 0.0, "D": None}
    assert (by_tag["A"].kind, by_tag["A"].splice, by_tag["B"].splice) == ("mh", True, False)
    assert by_tag["B"].footprint.area == pytest.approx(np.pi, rel=2e-3)
    # B and D are the same outline twice with two tags: no end can tell them apart
    assert [f.code for f in read.findings if f.severity == "error"].count("vaults-coincide") == 1


def test_the_unit_in_the_name_of_a_field_holds(layer, survey, said):
    """A layer in metres with what is on record in feet and millimetres."""
    path = layer([LINE, shifted(LINE, 0, 10)], rec_len_ft=[100 / FT, 100 / FT], bore_mm=[128.0, 154.1])
    layer(
        [Point(500000, 5400000), Point(500100, 5400000)],
        layer="vaults",
        append=True,
        kind="Point",
        tag=["A", "B"],
        invert_ft=[100.0, 101.0],
        rim_m=[33.0, 34.0],
    )
    fields = {"length": "rec_len_ft", "inside_diameter": "bore_mm"}
    read = survey(path, ducts=Selection("ducts", fields=fields), vaults="vaults")
    assert [v.invert for v in read.vaults] == pytest.approx([100 * FT, 101 * FT])
    assert [v.rim for v in read.vaults] == [33.0, 34.0]
    assert [d.fields.recorded_length for d in read.ducts] == pytest.approx([100.0, 100.0])
    assert [d.fields.inside_diameter for d in read.ducts] == pytest.approx([0.128, 0.1541])
    assert "ends in its unit, ft" in " ".join(said(read, "field-guessed"))


def test_no_field_of_vaults_is_guessed_where_there_are_no_vaults(layer, raw, codes):
    line = LineString([(9.0, 48.0), (9.001, 48.0)])
    path = layer([line], "route.geojson", crs="EPSG:4326", tag=["x"], kind="LineString")
    assert "field-guessed" not in codes(raw(path))


def test_one_file_of_lines_and_points(tmp_path, survey):
    """GeoJSON holds one layer; a file of mixed geometries is both."""
    features = [
        {"type": "Feature", "properties": {"name": n}, "geometry": g}
        for n, g in (
            ("L", {"type": "LineString", "coordinates": [[9.0, 48.0], [9.001, 48.0]]}),
            ("A", {"type": "Point", "coordinates": [9.0, 48.0]}),
            ("B", {"type": "Point", "coordinates": [9.001, 48.0]}),
        )
    ]
    path = tmp_path / "route.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    read = survey(path, vaults=Selection("route", fields={"name": "name"}))
    assert [(d.start_vault, d.end_vault) for d in read.ducts] == [("A", "B")]


def test_neighbours_of_a_shapefile_by_name(layer, survey, raw):
    path = layer([LINE], "ducts.shp", kind="LineString", nm=["x"])
    layer([Point(500000, 5400000), Point(500100, 5400000)], "vaults.shp", kind="Point", TAG=["A", "B"])
    layer([Point(500000, 5400050)], "trees.shp", kind="Point", TAG=["T"])
    read = survey(path, vaults="vaults")
    assert [(d.start_vault, d.end_vault) for d in read.ducts] == [("A", "B")]
    assert {v.where.file for v in read.vaults} == {"vaults.shp"}
    assert survey(path).vaults == ()
    with pytest.raises(InputRefusedError, match="'trees'"):
        raw(path, vaults="valves")


@pytest.mark.parametrize("ending", [".shx", ".dbf", ".prj", ".cpg"])
def test_missing_sidecars_are_named(layer, raw, ending):
    path = layer([LINE], "ducts.shp", kind="LineString", nm=["x"])
    path.with_suffix(ending).unlink()
    if ending == ".shx":
        with pytest.raises(InputRefusedError, match=r"ducts\.shx") as refused:
            raw(path)
        assert refused.value.code == "sidecar-missing"
        assert not path.with_suffix(".shx").exists()  # never restored beside the user's file
        return
    if ending == ".prj":
        with pytest.raises(InputRefusedError, match="coordinate reference system") as refused:
            raw(path)
        assert refused.value.code == "no-crs"
    read = raw(path, crs="EPSG:32632")
    assert [f.message for f in read.findings if f.code == "sidecar-missing" and ending in f.message]


def test_duplicates(layer, survey, codes):
    path = layer([LINE, LINE, shapely.reverse(LINE), shifted(LINE, 0, 5)])
    read = survey(path, ducts="ducts")
    assert len(read.ducts) == 2
    assert codes(read)["duplicate-line"] == 2


LOCK = """
import sqlite3, sys
database = sqlite3.connect(sys.argv[1])
database.execute("PRAGMA locking_mode = EXCLUSIVE")
database.execute("BEGIN EXCLUSIVE")
database.execute("CREATE TABLE held (a)")
print("held", flush=True)
sys.stdin.read()
"""


def test_a_locked_geopackage_is_named(layer, raw):
    pyogrio.set_gdal_config_options({"SQLITE_BUSY_TIMEOUT": 100})
    path = layer([LINE])
    before = path.read_bytes()
    with subprocess.Popen(
        [sys.executable, "-c", LOCK, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        try:
            with pytest.raises(InputRefusedError, match="close the other program") as refused:
                raw(path, ducts="ducts")
            assert refused.value.code == "file-locked"
        finally:
            holder.communicate()
    assert path.read_bytes() == before


def test_a_damaged_geopackage_is_refused(layer, raw):
    path = layer([shifted(LINE, k) for k in range(2000)])
    data = path.read_bytes()
    for part in (0.2, 0.5, 0.9):
        path.write_bytes(data[: int(len(data) * part)])
        with pytest.raises(InputRefusedError) as refused:
            raw(path, ducts="ducts")
        assert refused.value.code in {"damaged-layer", "no-layers"}


def test_input_files_are_left_as_they_are(layer, raw):
    path = layer([LINE])
    before = (path.read_bytes(), sorted(os.listdir(path.parent)))
    raw(path, ducts="ducts")
    assert (path.read_bytes(), sorted(os.listdir(path.parent))) == before


@pytest.mark.parametrize("ending", ["gpkg", "shp", "fgb"])
def test_a_large_layer_read_as_a_table_is_the_same(layer, raw, ending, monkeypatch):
    pytest.importorskip("pyarrow", reason="pyarrow is not installed")
    n = 1200
    lines = [LineString([(500000 + k, 5400000), (500000 + k, 5400010)]) for k in range(n)]
    if ending != "fgb":  # which has none
        lines[5] = None
    size = np.arange(float(n))
    path = layer(
        lines, f"ducts.{ending}", "ducts", kind="LineString", size=size, nm=[f"ä{k}" for k in range(n)]
    )
    options = {"ducts": Selection("ducts", "size < 1000", {"size": "size", "id": "nm"})}
    assert gis_arrow.usable(gis_open.facts(gis_open.Source(path, "ducts", None)), ["size", "nm"])
    table = raw(path, **options)
    monkeypatch.setattr(gis_arrow, "usable", lambda known, columns: False)
    features = raw(path, **options)
    assert len(table.lines) == len(features.lines) > 990
    for one, other in zip(table.lines, features.lines, strict=True):
        assert np.array_equal(one.points, other.points, equal_nan=True)
        assert (one.ids, one.fields, one.where) == (other.ids, other.fields, other.where)
    assert (table.findings, table.counts) == (features.findings, features.counts)
    assert {line.where.id for line in table.lines} >= {"ä3", "ä999"}


def test_geoparquet(tmp_path, raw, survey):
    pytest.importorskip("pyarrow", reason="pyarrow is not installed")
    frame = gpd.GeoDataFrame(
        {"nm": ["a", "b", None], "dia": [5, 4, None]},
        geometry=[LINE, shifted(LINE, 0, 5), None], crs="EPSG:32632",
    )  # fmt: skip
    path = tmp_path / "ducts.parquet"
    frame.to_parquet(path)
    read = raw(path, ducts=Selection("ducts", fields={"size": "dia", "id": "nm"}))
    assert [(p.where.id, p.fields.size) for p in read.lines] == [("a", "5"), ("b", "4")]
    assert [f.where.id for f in read.findings if f.code == "geometry-null"] == ["2"]
    assert read.ground.crs == "EPSG:32632"
    for where, ids in (
        ("nm = 'b'", ["1"]),
        ("dia >= 4 AND NM IN ('a', 'c')", ["0"]),
        ("nm IS NOT NULL", ["0", "1"]),
    ):
        read = raw(path, ducts=Selection("ducts", where))
        assert [p.where.id for p in read.lines] == ids
        assert read.counts["skipped by filter"] == 3 - len(ids)
    for where in (
        "color = 'a'",
        "nm = ",
        "nm = 'a'; DROP TABLE layer",
        "1) UNION SELECT 1 WHERE (1",
        "nm = readfile('x')",
        "nm = '\0'",
    ):
        with pytest.raises(InputRefusedError, match="the fields are 'nm', 'dia'") as refused:
            raw(path, ducts=Selection("ducts", where))
        assert refused.value.code == "bad-filter"
    whole = path.read_bytes()
    path.write_bytes(whole[:-300])
    with pytest.raises(InputRefusedError) as refused:
        raw(path)
    assert refused.value.code == "damaged-layer"
    frame.set_crs(None, allow_override=True).to_parquet(path)
    with pytest.raises(InputRefusedError) as refused:
        raw(path)
    assert refused.value.code == "no-crs"


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ({"encoding": "WKB", "crs": {"type": "GeographicCRS"}}, "coordinate reference system"),
        ({"encoding": "WKB", "crs": ["EPSG", 0]}, "coordinate reference system"),
        ({"encoding": "point"}, "only WKB"),
        (7, "nothing of geometries"),
        ("elsewhere", "elsewhere"),
    ],
)
def test_geoparquet_that_says_wrong(tmp_path, raw, column, words):
    pyarrow = pytest.importorskip("pyarrow", reason="pyarrow is not installed")
    geo = {"version": "1.0.0", "primary_column": "geometry", "columns": {"geometry": column}}
    if column == "elsewhere":
        geo = {
            "version": "1.0.0",
            "primary_column": column,
            "columns": {column: {"encoding": "WKB", "crs": None}},
        }
    table = pyarrow.table({"geometry": [shapely.to_wkb(LINE)]}).replace_schema_metadata(
        {"geo": json.dumps(geo)}
    )
    importlib.import_module("pyarrow.parquet").write_table(table, tmp_path / "ducts.parquet")
    with pytest.raises(InputRefusedError, match=words) as refused:
        raw(tmp_path / "ducts.parquet")
    assert refused.value.code == "damaged-layer"


def test_geoparquet_without_its_library(tmp_path, raw, monkeypatch):
    path = tmp_path / "ducts.parquet"
    path.write_bytes(b"PAR1 and so on")
    monkeypatch.setattr(gis_parquet, "parquet", None)
    with pytest.raises(InputRefusedError, match="pyarrow") as refused:
        raw(path)
    assert refused.value.code == "reader-missing"


def test_the_length_on_record_of_a_line_of_several_parts_is_shared_among_them(layer, survey, codes):
    """70 m and 30 m, drawn end to end, with 150 m on record: 105 and 45, and the duct of both has all of it."""
    parts = MultiLineString([[(500000, 5400000), (500070, 5400000)], [(500070, 5400000), (500100, 5400000)]])
    path = layer([parts], length=[150.0])
    read = survey(path, ducts=Selection("ducts", fields={"length": "length"}))
    assert [d.fields.recorded_length for d in read.ducts] == pytest.approx([150.0])
    assert codes(read)["length-differs"] == 2  # of each part

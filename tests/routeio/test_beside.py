"""Vaults in a file beside that of the ducts, or among them, and the unit of their elevations: what is guessed, and why."""

import json

import pytest
from shapely.geometry import LineString, Point

from routeio.gis_peek import peek
from routeio.options import Selection

LINE = LineString([(500000, 5400000), (500100, 5400000)])
ENDS = [Point(500000, 5400000), Point(500100, 5400000)]
IN_DEGREES = LineString([(9.0, 48.0, 12.0), (9.001, 48.0, 12.5)])


def guessed(path, what):
    return {g[1]: g[2] for g in peek(path)["guesses"] if g[0] == what}


@pytest.mark.parametrize("ending", [".shp", ".geojson", ".fgb"])
def test_a_file_of_points_named_like_vaults_stands_beside(layer, survey, ending):
    line, ends, crs = LINE, ENDS, "EPSG:32632"
    if ending == ".geojson":
        line, ends, crs = (
            LineString([(9.0, 48.0), (9.001, 48.0)]),
            [Point(9.0, 48.0), Point(9.001, 48.0)],
            "EPSG:4326",
        )
    path = layer([line], f"north_ducts{ending}", kind="LineString", crs=crs, size=["5"])
    layer(ends, f"north_manholes{ending}", kind="Point", crs=crs, TAG=["A", "B"])
    layer([line], f"vault_lids{ending}", kind="LineString", crs=crs, n=[1])
    layer(ends, f"trees{ending}", kind="Point", crs=crs, TAG=["x", "y"])
    (reason,) = guessed(path, "vaults").values()
    assert f"north_manholes{ending} stands beside" in reason
    assert guessed(path, "vaults.name").keys() == {"TAG"}
    read = survey(path, vaults=Selection(tuple(guessed(path, "vaults")), fields={"name": "TAG"}))
    assert {read.ducts[0].start_vault, read.ducts[0].end_vault} == {"A", "B"}


def test_of_several_files_that_of_the_same_name_is_taken_and_else_none(layer):
    path = layer([LINE], "north_ducts.shp", kind="LineString", n=[1])
    for name in ("north_vaults.shp", "south_vaults.shp"):
        layer(ENDS, name, kind="Point", TAG=["A", "B"])
    assert guessed(path, "vaults").keys() == {"north_vaults"}
    west = layer([LINE], "west_ducts.shp", kind="LineString", n=[1])
    assert guessed(west, "vaults") == {}
    (said,) = (text for text in peek(west)["missing"] if text.startswith("vaults:"))
    assert "north_vaults.shp, south_vaults.shp" in said


def test_vaults_among_the_lines_of_the_only_layer(layer):
    path = layer(
        [IN_DEGREES, Point(9.0, 48.0, 12.0), Point(9.001, 48.0, 12.5)],
        "route.geojson",
        crs="EPSG:4326",
        tag=["", "A", "B"],
    )
    assert guessed(path, "vaults") == {"route": "2 points or areas stand among its lines"}
    assert peek(path)["layers"][0]["kinds"] == {"Point": 2, "LineString": 1}
    bare = layer([IN_DEGREES], "bare.geojson", crs="EPSG:4326", kind="LineString", tag=["x"])
    assert guessed(bare, "vaults") == {}


def test_the_unit_of_elevations_is_guessed_where_the_horizontal_one_says_nothing(layer):
    """RFC 7946, 3.1.1: heights of GeoJSON are in metres. Web Mercator is in metres whatever its heights were in."""
    for file, crs, line in (
        ("a.geojson", "EPSG:4326", IN_DEGREES),
        ("a.fgb", "EPSG:4326", IN_DEGREES),
        ("m.fgb", "EPSG:3857", LineString([(1e6, 6.1e6, 12), (1.0001e6, 6.1e6, 12)])),
    ):
        path = layer([line], file, crs=crs, kind="LineString Z", n=[1])
        (reason,) = [guessed(path, "elevation_units")["m"]]
        assert ("RFC 7946" if file == "a.geojson" else "they may be feet") in reason
    bare = {"type": "LineString", "coordinates": [[9.0, 48.0, 12.0], [9.001, 48.0, 12.5]]}
    path = path.with_name("bare.geojson")
    path.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": bare}), encoding="utf-8")
    assert "RFC 7946" in guessed(path, "elevation_units")["m"]
    assert guessed(layer([LINE], "p.fgb", kind="LineString", n=[1]), "elevation_units") == {}
    vaults = [Point(9.0, 48.0), Point(9.001, 48.0)]
    layer(vaults, "a_vaults.fgb", crs="EPSG:4326", kind="Point", tag=["A", "B"], invert_ft=[40.0, 41.0])
    assert guessed(layer([IN_DEGREES], "a_ducts.fgb", crs="EPSG:4326", n=[1]), "elevation_units").keys() == {
        "ft"
    }


def test_a_layer_without_a_system_says_how_large_it_would_be(layer):
    path = layer([LINE], "route.shp", crs=None, kind="LineString", n=[1])
    assert peek(path)["crs"] is None
    assert "100 x 0 m if m" in peek(path)["missing"][-1]
    cartesian = layer([LINE], "route.gpkg", crs=None, kind="LineString", n=[1])
    assert (peek(cartesian)["crs"], peek(cartesian)["units"]) == (None, None)


def test_of_several_layers_each_may_have_some_of_the_fields(layer, survey, codes):
    """Outlines with a tag alone, beside points that hold the rest: one vault each."""
    path = layer([LINE], n=[1])
    layer(ENDS, layer="vaults", append=True, kind="Point", tag=["A", "B"], inv=[10.0, 11.0])
    layer([p.buffer(1.5) for p in ENDS], layer="vault_outlines", append=True, kind="Polygon", tag=["A", "B"])
    assert guessed(path, "vaults").keys() == {"vaults", "vault_outlines"}
    read = survey(
        path,
        ducts="ducts",
        vaults=Selection(("vaults", "vault_outlines"), fields={"name": "tag", "invert": "inv"}),
    )
    assert [(v.tag, v.invert, v.footprint is not None) for v in read.vaults] == [
        ("A", 10.0, True),
        ("B", 11.0, True),
    ]
    assert codes(read)["outline-joined"] == 2

"""Coordinate reference systems: what may be measured in, against geodesics of pyproj's ellipsoid."""

import json

import numpy as np
import pyproj
import pytest
from pyproj import Geod
from shapely.geometry import LineString, Point

from routeio import crs
from routeio.findings import InputRefusedError, Where
from routeio.gis_peek import peek
from routeio.options import ReadOptions, Selection

GEOD = Geod(ellps="WGS84")
DEGREES = LineString([(8.30, 49.00), (8.31, 49.01), (8.33, 49.01)])
TRUE = GEOD.geometry_length(DEGREES)


def projected(line, code):
    transformer = pyproj.Transformer.from_crs("EPSG:4326", code, always_xy=True)
    return LineString(np.column_stack(transformer.transform(*np.array(line.coords).T)))


def length(read):
    return sum(float(np.hypot(*np.diff(line.points[:, :2], axis=0).T).sum()) for line in read.lines)


@pytest.mark.parametrize("code", ["EPSG:4326", "EPSG:4258", "EPSG:3857", "EPSG:3395", "EPSG:32662"])
def test_what_cannot_be_measured_in_is_projected(layer, raw, codes, code):
    """Degrees, Web Mercator (1.5 times too long here), World Mercator, Plate Carree."""
    line = DEGREES if code in {"EPSG:4326", "EPSG:4258"} else projected(DEGREES, code)
    read = raw(layer([line], crs=code), ducts="ducts")
    assert length(read) == pytest.approx(TRUE, rel=1e-3)
    assert codes(read)["reprojected"] == 1
    (told,) = [f.message for f in read.findings if f.code == "reprojected"]
    assert f"elevations are taken in {'metres' if code in ('EPSG:4326', 'EPSG:4258') else 'm'}" in told
    assert read.ground.crs == "EPSG:32632"
    assert read.ground.crs_of_file == code


@pytest.mark.parametrize("code", ["EPSG:25832", "EPSG:31467", "EPSG:32632"])
def test_what_can_be_measured_in_is_kept(layer, raw, codes, code):
    read = raw(layer([projected(DEGREES, code)], crs=code), ducts="ducts")
    assert length(read) == pytest.approx(TRUE, rel=1e-3)
    assert "reprojected" not in codes(read)
    assert read.ground.crs == code


def test_the_crs_the_user_names(layer, raw):
    read = raw(layer([DEGREES], crs="EPSG:4326"), ducts="ducts", project_to="EPSG:25832")
    assert read.ground.crs == "EPSG:25832"
    for bad, code in (
        ("EPSG:3857", "crs-distorts"),
        ("EPSG:4258", "crs-not-plane"),
        ("nonsense", "unknown-crs"),
    ):
        with pytest.raises(InputRefusedError) as refused:
            raw(layer([DEGREES], crs="EPSG:4326"), ducts="ducts", project_to=bad)
        assert refused.value.code == code


def test_survey_feet_exactly(layer, raw):
    """EPSG:2263 is in US survey feet, EPSG:2992 (Oregon) in international feet (EPSG dataset)."""
    for code, metres in (("EPSG:2263", 1200 / 3937), ("EPSG:2992", 0.3048)):
        read = raw(layer([LineString([(2_000_000, 700_000), (2_001_000, 700_000)])], crs=code), ducts="ducts")
        assert read.ground.metres_per_unit == metres
        assert read.lines[0].points[0, 0] == 2_000_000 * metres


def test_units_that_contradict_the_crs(layer, raw):
    line = LineString([(980_000, 200_000), (981_000, 200_000)])
    with pytest.raises(InputRefusedError, match="us_survey_foot") as refused:
        raw(layer([line], crs="EPSG:2263"), ducts="ducts", units="ft")
    assert refused.value.code == "units-contradict"
    assert raw(layer([line], crs="EPSG:2263"), ducts="ducts", units="us_survey_foot").lines
    with pytest.raises(InputRefusedError, match="degrees"):
        raw(layer([DEGREES], crs="EPSG:4326"), ducts="ducts", units="m")


def test_elevations_follow_a_compound_crs_or_the_user(layer, raw):
    line = LineString([(980_000, 200_000, 10), (981_000, 200_000, 20)])
    assert raw(layer([line], crs="EPSG:2263"), ducts="ducts").lines[0].points[1, 2] == pytest.approx(
        20 * 1200 / 3937
    )
    assert raw(layer([line], crs="EPSG:2263"), ducts="ducts", elevation_units="m").lines[0].points[1, 2] == 20
    # NAD83 / New York Long Island (ftUS) + NAVD88 height (metres)
    assert raw(layer([line], crs="EPSG:2263+5703"), ducts="ducts").lines[0].points[1, 2] == 20


def test_no_crs_is_asked_for(layer, raw, codes):
    line = LineString([(1000, 1000), (2000, 1000)])
    with pytest.raises(InputRefusedError, match="state crs") as refused:
        raw(layer([line], crs=None), ducts="ducts")
    assert refused.value.code == "no-crs"
    with pytest.raises(InputRefusedError, match="degrees"):
        raw(layer([DEGREES], crs=None), ducts="ducts")
    read = raw(layer([line], crs=None), ducts="ducts", units="ft")
    assert length(read) == pytest.approx(304.8)
    assert codes(read)["no-crs"] == 1
    assert length(raw(layer([line], crs=None), ducts="ducts", crs="EPSG:25832")) == pytest.approx(1000)


def test_a_stated_crs_rules_and_is_on_record(layer, raw, codes):
    line = projected(DEGREES, "EPSG:25832")
    read = raw(layer([line], crs="EPSG:25833"), ducts="ducts", crs="EPSG:25832")
    assert read.ground.crs == "EPSG:25832"
    assert codes(read)["crs-overridden"] == 1


def test_geojson_of_projected_numbers(tmp_path, raw):
    coordinates = [[456000.0, 5427000.0], [456100.0, 5427000.0]]
    collection = {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {},
                "geometry": {"type": "LineString", "coordinates": coordinates},
            }
        ],
    }
    path = tmp_path / "ducts.geojson"
    path.write_text(json.dumps(collection), encoding="utf-8")
    with pytest.raises(InputRefusedError, match="state the crs") as refused:
        raw(path)
    assert refused.value.code == "not-degrees"
    looked = peek(path)
    assert (looked["crs"], looked["units"]) == (None, None)
    assert "its numbers are no degrees; it measures" in looked["missing"][-1]
    assert length(raw(path, crs="EPSG:25832")) == pytest.approx(100)
    collection["crs"] = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}
    path.write_text(json.dumps(collection), encoding="utf-8")
    assert length(raw(path)) == pytest.approx(100)


def test_outside_the_area_of_use(layer, raw, codes):
    """Northing before easting: the usual mistake lands the data far off."""
    swapped = LineString([(5427000, 456000), (5427100, 456000)])
    path = layer([swapped], crs="EPSG:25832")
    assert codes(raw(path, ducts="ducts")).keys() >= {"outside-area-of-use", "reprojected"}
    with pytest.raises(InputRefusedError) as refused:
        raw(path, ducts="ducts", project_to="EPSG:25832")
    assert refused.value.code == "crs-distorts"


def test_layers_in_different_systems_meet(layer, survey):
    layer([projected(DEGREES, "EPSG:25832")], crs="EPSG:25832")
    path = layer(
        [Point(DEGREES.coords[0]), Point(DEGREES.coords[-1])],
        layer="vaults", crs="EPSG:4326", append=True, TAG=["A", "B"],
    )  # fmt: skip
    read = survey(path, ducts="ducts", vaults=Selection("vaults"), sweep=3.0)
    assert [(d.start_vault, d.end_vault) for d in read.ducts] == [("A", "B")]
    assert read.ground.crs == "EPSG:25832"


@pytest.mark.parametrize("place", [(-179.99, 51.9), (12.0, 85.5), (-70.0, -53.0), (5.0, 60.5)])
def test_a_local_system_is_found_anywhere(place):
    """At the date line, beyond the zones' 84 degrees, in the south, in the odd zone of Norway."""
    low = np.array(place)
    high = low + 0.002
    placed = crs.placing("EPSG:4326", ReadOptions(), low, high, Where())
    points = np.array([[*low, np.nan], [*high, np.nan]])
    metres = placed.metres(points, Where())
    true = GEOD.inv(low[0], low[1], high[0], high[1])[2]
    assert np.hypot(*(metres[1] - metres[0])[:2]) == pytest.approx(true, rel=1.5e-3)

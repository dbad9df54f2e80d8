"""From a layer to a plan as a user goes: ``new``, filling in, ``plan``; and ``inspect`` of a job."""

import json
import tomllib
from pathlib import Path

import geopandas
import pytest
from shapely.geometry import LineString, Point

from tautline.main import main

pytestmark = pytest.mark.usefixtures("in_this_process")

FT = 1200 / 3937  # US survey foot (NIST SP 811)
ORIGIN = (1893400.0, 722150.0)
STATED = {
    'cables = "FILL IN"': "cables = 3",
    'diameter = "FILL IN"': 'diameter = "1.62 in"',
    'weight = "FILL IN"': 'weight = "1.75 lbf/ft"',
    'material = "FILL IN", area = "FILL IN"': 'material = "copper", area = "500 kcmil"',
    'trade_size = "FILL IN"': 'trade_size = "5"',
    '\ntype = "FILL IN"': '\ntype = "PVC 40"',
}


def exported(folder: Path, ending: str, crs: str | None = None) -> Path:
    """Three vaults 300 US survey feet apart, at 100, 101 and 103 ft, as two files of one layer each."""
    places = [(ORIGIN[0] + 300.0 * k, ORIGIN[1], z) for k, z in enumerate((100.0, 101.0, 103.0))]
    ducts = geopandas.GeoDataFrame(
        {"no": [1, 2]}, geometry=[LineString(places[:2]), LineString(places[1:])], crs="EPSG:2287"
    )
    vaults = geopandas.GeoDataFrame(
        {"TAG": ["A", "B", "C"]}, geometry=[Point(p) for p in places], crs="EPSG:2287"
    )
    for name, frame in (("route_ducts", ducts), ("route_vaults", vaults)):
        there = frame if crs is None else frame.to_crs(crs)
        if ending == ".parquet":
            there.to_parquet(folder / f"{name}{ending}")
        else:
            there.to_file(folder / f"{name}{ending}")
    return folder / f"route_ducts{ending}"


def planned(job: Path, capsys, **stated: str) -> dict:
    text = job.read_text(encoding="utf-8")
    for key, value in {**STATED, **stated}.items():
        text = text.replace(key, value)
    job.write_text(text, encoding="utf-8")
    capsys.readouterr()
    status = main(["plan", str(job), "--json"])
    told = capsys.readouterr()
    assert status == 0, told.err
    return json.loads(told.out)


@pytest.mark.parametrize(
    ("ending", "crs"),
    [(".shp", None), (".fgb", None), (".parquet", None), (".geojson", "EPSG:4326"), (".shp", "EPSG:3857")],
)
def test_a_layer_and_its_vaults_beside_it_become_a_plan(ending, crs, tmp_path, capsys):
    if ending == ".parquet":
        pytest.importorskip("pyarrow")
    path = exported(tmp_path, ending, crs)
    assert main(["new", str(path)]) == 0
    job = path.with_suffix(".toml")
    plain = tomllib.loads(job.read_text(encoding="utf-8"))["route"]
    assert plain["vaults"] == {"layer": "route_vaults", "name": "TAG"}
    assert sorted(plain["feeder"]) == ["A", "C"]  # FlatGeobuf keeps features in an order of its own
    # brought to degrees or to Web Mercator a layer no longer says that its heights are in feet
    assert plain.get("elevation_units") == (None if crs is None else "m")
    document = planned(job, capsys, **{'elevation_units = "m"': 'elevation_units = "us_survey_foot"'})
    levels = [z for section in document["sections"] for pull in section["pulls"] for _, _, z in pull["path"]]
    assert (min(levels), max(levels)) == pytest.approx((100 * FT, 103 * FT), abs=1e-6)
    rises = (300**2 + 1) ** 0.5 + (300**2 + 4) ** 0.5
    # the scale of a projected map is a few parts in ten thousand off that of another
    assert document["feeder"]["length_m"] == pytest.approx(rises * FT, rel=1e-6 if crs is None else 1e-3)


def test_a_shapefile_without_a_system_wants_one_thing_only(tmp_path, capsys):
    path = exported(tmp_path, ".shp")
    for name in ("route_ducts", "route_vaults"):
        (tmp_path / f"{name}.prj").unlink()
    assert main(["new", str(path)]) == 0
    text = path.with_suffix(".toml").read_text(encoding="utf-8")
    plain = tomllib.loads(text)["route"]
    assert (plain["crs"], "units" in plain) == ("FILL IN", False)
    assert "in place of crs" in text
    # which ducts meet which vaults is seen all the same
    assert plain["feeder"] == ["A", "C"]
    document = planned(path.with_suffix(".toml"), capsys, **{'crs = "FILL IN"': 'units = "us_survey_foot"'})
    assert document["feeder"]["length_m"] == pytest.approx(600 * FT, rel=1e-4)
    assert main(["inspect", str(path.with_suffix(".toml"))]) == 0
    told = capsys.readouterr().out
    assert "units: us_survey_foot, as stated" in told
    assert "600.0 ft in all" in told


def test_what_inspect_wrote_is_guessed_back(tmp_path, capsys):
    source = exported(tmp_path, ".fgb")
    own = tmp_path / "own.gpkg"
    assert main(["inspect", str(source), "--write", str(own)]) == 0
    assert main(["new", str(own)]) == 0
    plain = tomllib.loads(own.with_suffix(".toml").read_text(encoding="utf-8"))["route"]
    assert {
        "inside_diameter": "inside_diameter_m",
        "friction": "friction",
        "length": "recorded_length_m",
    }.items() <= plain["ducts"].items()
    assert {"rim": "rim_m", "invert": "invert_m", "name": "tag"}.items() <= plain["vaults"].items()
    planned(own.with_suffix(".toml"), capsys)


def test_inspect_of_a_job_reads_as_the_job_says(tmp_path, capsys):
    path = exported(tmp_path, ".fgb")
    rows = '[["0 ft", "90 ft", "A"], ["300 ft", "92 ft", "B"], ["600 ft", "95 ft", "C"]]'
    job = tmp_path / "job.toml"
    # the rest of the job is unfinished
    job.write_text(
        f'[route]\nsource = "{path.name}"\nvaults = {{ layer = "route_vaults", name = "TAG" }}\nprofile = {{ rows = {rows} }}\n'
        '[bundle]\ncables = "FILL IN"\n',
        encoding="utf-8",
    )
    assert main(["inspect", str(job), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {d["elevation_from"] for d in found["ducts"]} == {"profile"}
    assert main(["inspect", str(job), "--sweep", "1 m"]) == 2
    assert "--sweep: a job says it itself" in capsys.readouterr().err
    job.write_text('[route]\nsorce = "x"\n', encoding="utf-8")
    assert main(["inspect", str(job)]) == 3
    assert "route.sorce" in capsys.readouterr().err


def test_what_has_sharp_corners_is_looked_at_and_not_written(tmp_path, capsys):
    """To be looked at, a corner gets a bend of a hand's breadth: written as an arc, it would be read as one."""
    bent = geopandas.GeoDataFrame(
        geometry=[LineString([(500000, 5400000), (500100, 5400000), (500100, 5400100)])], crs="EPSG:32632"
    )
    bent.to_file(tmp_path / "ducts.fgb")
    out = tmp_path / "own.dxf"
    assert main(["inspect", str(tmp_path / "ducts.fgb"), "--write", str(out)]) == 3
    told = capsys.readouterr()
    assert "not written: a corner of 90.0 degrees" in told.err
    assert "AS READ" in told.out
    assert not out.exists()
    assert main(["inspect", str(tmp_path / "ducts.fgb"), "--write", str(out), "--sweep", "2 m"]) == 0
    assert out.exists()


def test_a_picture_that_cannot_be_written_names_no_option_of_another_command(tmp_path, capsys):
    path = exported(tmp_path, ".fgb")
    assert main(["inspect", str(path), "--picture", str(path / "seen.svg")]) == 4
    told = capsys.readouterr().err
    assert "choose another place" in told
    assert "--out" not in told

"""New vaults by the job file: a route that has none, zones of another system, what is refused."""

import json
from pathlib import Path

import geopandas
import pytest
import shapely
from jsonschema import validate

import tautline
from routeio.findings import InputRefusedError
from routeio.survey import Ground
from routeio.zones import ZoneLayer, read_zones
from tautline.deliver.screen import render
from tautline.document import as_text
from tautline.errors import JobError

ROOT = Path(__file__).resolve().parents[2]
SCHEMA = json.loads((ROOT / "tautline" / "result.schema.json").read_text(encoding="utf-8"))


JOB = """
[job]
units = "si"
[route]
source = "line.gpkg"
sweep = "4 m"
{feeder}
[bundle]
cables = 1
diameter = "41 mm"
weight = "25 N/m"
conductor = {{ material = "copper", area = "240 mm2" }}
[duct]
inside_diameter = "127 mm"
[friction]
lubricated = 0.35
[plan]
slack = "0 m"
[limits]
max_tension = "5 kN"
[vaults]
{vaults}
"""


@pytest.fixture
def job(tmp_path):
    """Write a job of a line of 1,300 m with two corners and no vaults, in its own system of metres."""
    corners = [
        (500_000.0, 4_700_000.0),
        (500_400.0, 4_700_000.0),
        (500_400.0, 4_700_500.0),
        (500_800.0, 4_700_500.0),
    ]
    line = geopandas.GeoDataFrame(geometry=[shapely.LineString(corners)], crs="EPSG:32619")
    line.to_file(tmp_path / "line.gpkg", layer="ducts")

    def write(vaults="propose = true", feeder=None):
        path = tmp_path / "job.toml"
        stated = "" if feeder is None else f"feeder = {json.dumps(feeder)}"
        path.write_text(JOB.format(vaults=vaults, feeder=stated), encoding="utf-8")
        return path

    return write


def proposed_of(document):
    return [v for v in document["vaults"] if "proposed" in v["roles"]]


def test_route_without_vaults_from_one_end_to_the_other(job):
    run = tautline.run_job(job(feeder=["500000.5, 4700000", "500800.00,4700500.00"]))
    document = run.to_dict()
    assert run.verdict == "pass"
    validate(document, SCHEMA)
    new = proposed_of(document)
    assert [v["tag"] for v in new] == [f"N-{k}" for k in range(1, len(new) + 1)]
    assert document["feeder"]["vaults"] == ["END-1", *(v["tag"] for v in new), "END-2"]
    assert all(v["why"] and v["station_m"] > 0.0 for v in new)
    # friction is constant, so that every one of the fewest is a splice
    assert all("splice" in v["roles"] for v in new)
    text = render(document)
    assert all(v["tag"] in text for v in new)
    assert "proposed" in as_text(document)
    loose = [f for f in document["findings"] if f["code"] == "loose-end"]
    assert [f["severity"] for f in loose] == ["info", "info"]
    assert "END-1" in loose[0]["message"]


def test_coordinates_where_nothing_is(job):
    with pytest.raises(JobError, match=r"the nearest is END-1 at 500000\.00, 4700000\.00, 50\.00 m"):
        tautline.run_job(job(feeder=["499950, 4700000", "END-2"]))


def test_zones_in_another_system_keep_vaults_out(job, tmp_path):
    closed = shapely.Point(500_400.0, 4_700_200.0).buffer(150.0)
    frame = geopandas.GeoDataFrame(geometry=[closed], crs="EPSG:32619")
    frame.to_crs("EPSG:4326").to_file(tmp_path / "zones.gpkg", layer="wet")
    keep = 'propose = true\nkeep_out = { file = "zones.gpkg", layer = "wet" }'
    moved = tautline.run_job(job(keep)).to_dict()
    assert "zones-projected" in [f["code"] for f in moved["findings"]]
    assert not any(closed.buffer(-0.1).contains(shapely.Point(v["x"], v["y"])) for v in proposed_of(moved))


def test_zones_that_cannot_be_used(tmp_path):
    ground = Ground(1.0, "metre", "EPSG:32619")
    frame = geopandas.GeoDataFrame(geometry=[shapely.box(0.0, 0.0, 1.0, 1.0)], crs=None)
    with pytest.warns(UserWarning, match="crs"):
        frame.to_file(tmp_path / "bare.gpkg", layer="wet")
    with pytest.raises(InputRefusedError, match="no coordinate reference system"):
        read_zones(ZoneLayer(tmp_path / "bare.gpkg"), ground)
    with pytest.raises(InputRefusedError, match="there is no layer 'dry'"):
        read_zones(ZoneLayer(tmp_path / "bare.gpkg", "dry"), ground)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ('propose = true\nlead = "3"', "vaults.lead"),
        ('propose = true\nkeep_out = { layer = "x" }', "vaults.keep_out.file is missing"),
        ('propose = true\nkeep_out = { file = "no.gpkg" }', 'names "no.gpkg", and there is no such file'),
        ('lead = "10 ft"', "vaults.propose must be true"),
        ('propose = true\nspacing = "15 ft"', "vaults.spacing must be more"),
        ('propose = true\nspaceing = "150 ft"', 'did you mean "spacing"'),
    ],
)
def test_what_is_refused(job, wrong, said):
    with pytest.raises(JobError, match=said):
        tautline.run_job(job(wrong))


def test_a_place_where_ducts_meet_without_a_vault_is_said_to_be_taken_for_one(job, tmp_path):
    """A branch leaves the line at its first corner, where no vault is drawn: which goes on into which is not known."""
    x, y = 500_400.0, 4_700_000.0
    lines = [[(x - 400, y), (x, y)], [(x, y), (x, y + 100)], [(x, y), (x + 100, y)]]
    lines += [[(x + 100, y), (x + 100, y + 50)], [(x + 100, y), (x + 200, y)]]
    frame = geopandas.GeoDataFrame(geometry=[shapely.LineString(line) for line in lines], crs="EPSG:32619")
    frame.to_file(tmp_path / "line.gpkg", layer="ducts")
    document = tautline.run_job(job(feeder=[f"{x - 400}, {y}", f"{x}, {y + 100}"])).to_dict()
    (told,) = (f for f in document["findings"] if f["code"] == "vault-assumed")
    (vault,) = proposed_of(document)
    assert vault["tag"] in told["message"]
    assert vault["why"] == told["message"]
    # one like it that the feeder does not come to is nothing to mend for this plan
    (other,) = (f for f in document["findings"] if f["code"] == "ambiguous-junction")
    assert (other["severity"], other["where"]["x"]) == ("info", pytest.approx(x + 100))
    assert (vault["x"], vault["y"]) == pytest.approx((x, y))
    assert vault["tag"] in document["feeder"]["vaults"][1:-1]
    (needed,) = (f for f in document["findings"] if f["code"] == "vault-not-needed")
    assert "beside those taken to stand" in needed["message"]
    text = render(document)
    assert f"taken to stand there, {vault['tag']}" in " ".join(text.split())


def test_ends_are_named_by_coordinates_of_the_file_and_of_what_it_is_projected_to(job, tmp_path):
    """EPSG:3857 is projected for lengths; a person reads coordinates off a map of the file's own system."""
    line = geopandas.read_file(tmp_path / "line.gpkg").to_crs("EPSG:3857")
    (tmp_path / "line.gpkg").unlink()
    line.to_file(tmp_path / "line.gpkg", layer="ducts")
    x, y = line.geometry[0].coords[0]
    assert abs(x - 500_000.0) > 1e6
    # its last corner as the job's fixture drew it, in the system that lengths are measured in
    document = tautline.run_job(job(feeder=[f"{x:.2f}, {y:.2f}", "500800.00, 4700500.00"])).to_dict()
    assert document["crs"] == "EPSG:32619"
    assert (document["feeder"]["from"], document["feeder"]["to"]) == ("END-1", "END-2")

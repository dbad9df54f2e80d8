"""Elevations of the route in a job: as a table in it, as a file beside it, as a terrain."""

import json
from pathlib import Path

import numpy as np
import pytest

import tautline
from tautline.errors import JobError
from tautline.job import read_job

SAMPLES = Path(__file__).resolve().parents[2] / "sample_routes"
SOURCE = 'source = "harbour.gpkg"'


@pytest.fixture
def job(tmp_path):
    """The sample's job with more said of its route."""

    def written(more: str) -> Path:
        text = (SAMPLES / "harbour_gis.toml").read_text(encoding="utf-8")
        assert SOURCE in text
        path = tmp_path / "job.toml"
        path.write_text(
            text.replace(SOURCE, f"source = '{SAMPLES / 'harbour.gpkg'}'\n{more}", 1), encoding="utf-8"
        )
        return path

    return written


def fault(path):
    with pytest.raises(JobError) as caught:
        read_job(path)
    return " / ".join(caught.value.faults)


def test_rows_and_files_arrive_in_metres(job, tmp_path):
    options = read_job(
        job('profile = { rows = [["0 ft", "631 ft", "SUB-A"], ["100 ft", "630 ft", "MH-1"]] }')
    ).options
    assert options.profile.runs[0][1].station == pytest.approx(30.48)
    (tmp_path / "levels.csv").write_text(
        "station,elevation,vault\n0,10,SUB-A\n90,11,MH-1\n", encoding="utf-8"
    )
    options = read_job(job('profile = { file = "levels.csv", units = "m" }')).options
    assert options.profile.runs[0][1].elevation == 11.0
    (tmp_path / "ground.tif").write_bytes(b"II*\x00")
    options = read_job(job('terrain = { file = "ground.tif", cover = "3 ft", units = "m" }')).options
    assert options.terrain.cover == pytest.approx(0.9144)
    assert options.terrain.scatter == 0.1
    assert read_job(job("")).options.terrain is None


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('profile = { units = "m" }', "file or rows must be stated"),
        ('profile = { file = "none.csv" }', "there is no file"),
        ('profile = { rows = [["0", "1 m", "A"], ["9 m", "1 m", "B"]] }', "without a unit"),
        ('profile = { rows = "0 ft" }', "must be a list of rows"),
        ('terrain = { cover = "3 ft" }', "route.terrain.file is missing"),
        ('terrain = { file = "none.tif", cover = "3 ft" }', "there is no such file"),
        ('terrain = { file = "none.tif" }', "route.terrain.cover is missing"),
        ('terrain = { file = "none.tif", cover = 3 }', "route.terrain.cover"),
        ('terrain = { fil = "none.tif", cover = "3 ft" }', 'did you mean "file"'),
    ],
)
def test_what_is_wrong_is_told_with_its_key(job, more, words):
    assert words in fault(job(more))


def test_a_profile_changes_the_pull_and_is_on_record(job, tmp_path):
    """MH-1 to MH-2 raised to a hill: the same span, uphill, takes more tension than as the file has it."""
    pulls = '\n[[pull]]\nfeed = "MH-1"\npull = "MH-2"\n'

    def run(more):
        path = job(more)
        path.write_text(path.read_text(encoding="utf-8") + pulls, encoding="utf-8")
        return tautline.run_job(path, "check").to_dict()

    plain = run("")
    rows = '[["0 ft", "600 ft", "MH-1"], ["150 ft", "604 ft"], ["301 ft", "620 ft", "MH-2"]]'
    hill = run(f"profile = {{ rows = {rows} }}")
    (was,), (now,) = plain["pulls"], hill["pulls"]
    rise = float(np.sum(np.array(now["segments"]["length_m"]) * np.sin(now["segments"]["grade_in_rad"])))
    assert rise == pytest.approx(20 * 0.3048, abs=0.35)  # from vault to vault; the ducts begin at the walls
    assert now["exit_tension_N"] > was["exit_tension_N"]
    told = json.dumps(hill["findings"])
    assert "grade-from-profile" in told
    assert "elevation-sources" in told

"""The sample route, planned and checked once for all tests."""

from pathlib import Path

import pytest

import tautline
from routeio import dxf, dxf_peek, gis, gis_peek, peeking, read

PEEKS = {"gis": gis_peek.peek, "dxf": dxf_peek.peek}
READS = {"gis": gis.read, "dxf": dxf.read}
SAMPLES = Path(__file__).resolve().parents[2] / "sample_routes"


@pytest.fixture(scope="session")
def sample_plan():
    return tautline.run_job(SAMPLES / "harbour_dxf.toml")


@pytest.fixture(scope="session")
def sample_check():
    return tautline.run_job(SAMPLES / "harbour_dxf.toml", "check")


@pytest.fixture(scope="session")
def laden_check(tmp_path_factory):
    """Pulls over hills with everything a job can ask of them: end guides, an assist, a brake, water, cables beside."""
    text = (SAMPLES / "harbour_gis.toml").read_text(encoding="utf-8")
    for old, new in {
        'source = "harbour.gpkg"': f"source = '{SAMPLES / 'harbour.gpkg'}'",
        'units = "us"': 'units = "si"',
        "cables = 3": 'cables = 3\nground = { diameter = "12 mm", weight = "7 N/m", construction = "600 V" }',
        "[duct]": '[duct]\nflooded = true\nwaviness = { turn = "4 deg", over = "100 m" }',
        "[friction]": '[friction]\npressed = 0.15\npress_force = "400 N/m"',
        'attachment = "eye"': (
            'attachment = "grip"\nentry = "200 N"\nlow_friction_factor = 0.4\ntemperature = "4 degC"\n'
            'puller = "60 kN"\nassists = { "MH-10" = "1.5 kN" }'
        ),
        "[guides]": '[guides]\nfeed = "45 deg"\npull = "30 deg"',
    }.items():
        assert old in text
        text = text.replace(old, new, 1)
    text += "".join(
        f'\n[[pull]]\nfeed = "{feed}"\npull = "{pull}"\nrelube = [{relube}]\n'
        for feed, pull, relube in (
            ("MH-9", "MH-12", '"MH-11"'),
            ("MH-9", "MH-5", '"MH-7"'),
            ("MH-5", "MH-9", '"MH-6", "MH-7"'),
        )
    )
    path = tmp_path_factory.mktemp("laden") / "laden.toml"
    path.write_text(text, encoding="utf-8")
    return tautline.run_job(path, "check")


@pytest.fixture
def in_this_process(monkeypatch):
    """A process of its own for every file is tested elsewhere, and takes most of the time."""

    def work(path, reader, task, options, limits):
        return {"peek": PEEKS[reader](path)} if task == "peek" else READS[reader](path, options)

    for module in (peeking, read):
        monkeypatch.setattr(module, "in_worker", work)

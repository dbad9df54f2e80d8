"""The worker: what is found comes back whole; hangs, crashes and greed are stopped and said."""

import json
import os
import subprocess
import sys
import time

import ezdxf
import numpy as np
import pytest
import shapely

from routeio import dxf, wire
from routeio.findings import Finding, InputRefusedError, Where
from routeio.isolation import in_worker
from routeio.limits import Limits
from routeio.options import ReadOptions, Selection
from routeio.rawlines import RawLine, RawSurvey, RawVault
from routeio.survey import DuctFields, Ground


def sent(send, *values):
    read, write = os.pipe()
    with os.fdopen(write, "wb") as stream:
        send(*values, stream)
    with os.fdopen(read, "rb") as stream:
        return wire.received(stream.read())


def test_a_survey_comes_back_as_it_was():
    nan = float("nan")
    where = Where("a.dxf", "DÜCT", "2F", 1.5, -2.0)
    survey = RawSurvey(
        (
            RawLine(
                np.array([[0, 0, nan], [1e6 + 1 / 3, 2, 3.0], [5, 5, 5]]), np.array([0.1, 0.0]), ("A", "B"), True,
                DuctFields("5", "PVC", 0.128, 0.2, 6, 2, 100.5), where,
            ),
            RawLine(np.array([[0, 0, 1], [1, 1, 1.0]]), np.zeros(1), ("A",), False),
        ),
        (
            RawVault("MH-1", 1.0, 2.0, nan, shapely.box(0, 0, 2, 2), {"kind": "x"}, where),
            RawVault("", 3.0, 4.0, 5.0),
        ),
        Ground(1200 / 3937, "us_survey_foot", "EPSG:2263", None, 0.3048),
        (Finding("gap", "error", "said", where, "mend"),),
        {"read LINE": 2},
        {"DÜCT": {"LINE": 2}},
    )  # fmt: skip
    back = sent(wire.send_survey, survey)
    for a, b in zip(back.lines, survey.lines, strict=True):
        assert np.array_equal(a.points, b.points, equal_nan=True)
        assert np.array_equal(a.bulge, b.bulge)
        assert (a.ids, a.drawn, a.fields, a.where) == (b.ids, b.drawn, b.fields, b.where)
    assert back.vaults[0].footprint.equals(survey.vaults[0].footprint)
    assert (back.vaults[1].footprint, back.vaults[1].z) == (None, 5.0)
    assert [(v.tag, dict(v.fields), v.where) for v in back.vaults] == [
        (v.tag, dict(v.fields), v.where) for v in survey.vaults
    ]
    assert (back.ground, back.findings) == (survey.ground, survey.findings)
    assert (back.counts, back.layers) == (survey.counts, survey.layers)


def test_an_empty_survey_comes_back():
    back = sent(wire.send_survey, RawSurvey((), (), Ground(1.0, "m")))
    assert (tuple(back.lines), back.vaults) == ((), ())


def test_a_refusal_comes_back_as_it_was():
    refusal = InputRefusedError(
        "code", "what", Where(id="9", x=1.0, y=2.0), "mend", (Finding("a", "info", "b"),)
    )
    with pytest.raises(InputRefusedError) as refused:
        sent(wire.send_refusal, refusal)
    got = refused.value
    assert (got.code, got.message, got.where, got.remedy, got.findings) == (
        "code", "what", refusal.where, "mend", refusal.findings,
    )  # fmt: skip
    assert str(got) == str(refusal)


def test_options_go_and_come():
    options = ReadOptions(
        Selection("D*", "a = 'b'", {"size": "S"}), Selection(("V", "W")), units="ft", sweep=3.0
    )
    back = wire.options_from_json(json.loads(json.dumps(wire.options_to_json(options))))
    assert back.ducts.patterns == ("D*",)
    assert (back.ducts.where, dict(back.ducts.fields)) == ("a = 'b'", {"size": "S"})
    assert back.vaults.patterns == ("V", "W")
    assert (back.units, back.sweep, back.standard_radii) == ("ft", 3.0, options.standard_radii)


@pytest.fixture
def path(tmp_path):
    drawing = ezdxf.new(units=6)
    for k in range(300):
        drawing.modelspace().add_lwpolyline(
            [(k, 0, 0.1), (k + 1, 0, 0)], format="xyb", dxfattribs={"layer": "DUCT"}
        )
    drawing.saveas(tmp_path / "route.dxf")
    return tmp_path / "route.dxf"


def test_reads_the_same_as_in_this_process(path):
    options = ReadOptions(ducts=Selection("DUCT"))
    here, there = dxf.read(path, options), in_worker(path, "dxf", "read", options, Limits())
    assert [line.where for line in there.lines] == [line.where for line in here.lines]
    assert all(np.array_equal(a.points, b.points) for a, b in zip(here.lines, there.lines, strict=True))
    assert there.findings == here.findings


def test_refusals_come_out_of_the_worker(path):
    with pytest.raises(InputRefusedError, match="'DUCT'") as refused:
        in_worker(path, "dxf", "read", ReadOptions(ducts=Selection("NONE")), Limits())
    assert refused.value.code == "missing-layer"


def endless(tmp_path):
    """A file that never ends to be read: the worker sees an open pipe."""
    pipe = tmp_path / "pipe.dxf"
    os.mkfifo(pipe)
    return pipe


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_hang_is_stopped_by_the_clock(tmp_path):
    start = time.monotonic()
    with pytest.raises(InputRefusedError) as refused:
        in_worker(endless(tmp_path), "dxf", "read", ReadOptions(), Limits(wall_seconds=2.0))
    assert refused.value.code == "reader-timeout"
    assert time.monotonic() - start < 10


@pytest.mark.skipif(sys.platform == "win32", reason="the system sets no limits")
def test_processor_time_is_limited(path):
    data = path.read_bytes()
    block = data[data.index(b"  0\nLWPOLYLINE") : data.rindex(b"  0\nENDSEC\n  0\nSECTION\n  2\nOBJECTS")]
    path.write_bytes(data.replace(block, block * 200, 1))
    with pytest.raises(InputRefusedError) as refused:
        in_worker(
            path,
            "dxf",
            "read",
            ReadOptions(),
            Limits(cpu_seconds=1.0, cpu_seconds_per_mb=0.0, memory_mb=4000.0),
        )
    assert refused.value.code == "reader-timeout"


@pytest.mark.skipif(sys.platform != "linux", reason="address space is limited on Linux only")
def test_memory_is_limited(path):
    with pytest.raises(InputRefusedError) as refused:
        in_worker(path, "dxf", "read", ReadOptions(), Limits(memory_mb=60.0))
    assert refused.value.code in {"reader-memory", "reader-failed"}


def test_a_crash_is_a_refusal_without_a_traceback(path, monkeypatch):
    # a module of this name that falls over stands before the real one
    (path.parent / "ezdxf.py").write_text("raise RuntimeError('fell over')", encoding="utf-8")
    monkeypatch.setattr(sys, "path", [str(path.parent), *sys.path])
    with pytest.raises(InputRefusedError, match="fell over") as refused:
        in_worker(path, "dxf", "read", ReadOptions(), Limits())
    assert refused.value.code == "reader-failed"
    assert "Traceback" not in str(refused.value)


def test_modules_beside_the_drawing_are_not_run(path, monkeypatch):
    (path.parent / "ezdxf.py").write_text("raise RuntimeError('fell over')", encoding="utf-8")
    monkeypatch.chdir(path.parent)
    assert in_worker(path, "dxf", "read", ReadOptions(ducts=Selection("DUCT")), Limits()).lines


def test_virtual_layers_are_not_followed(tmp_path):
    """A JSON file that tells the library to run a pipeline over another file on the machine."""
    secret = tmp_path / "secret.csv"
    secret.write_text("a,b\n1,2\n", encoding="utf-8")
    path = tmp_path / "layer.geojson"
    path.write_text(
        json.dumps({"type": "gdal_streamed_alg", "command_line": f"gdal vector pipeline read {secret}"}),
        encoding="utf-8",
    )
    with pytest.raises(InputRefusedError):
        in_worker(path, "gis", "read", ReadOptions(), Limits())


def test_what_a_library_prints_does_not_get_into_the_answer(path):
    code = (
        "import os, sys; sys.argv = ['worker', 'dxf']\n"
        "import ezdxf, runpy\n"
        "old = ezdxf.filemanagement.read\n"
        "def noisy(*a, **k):\n"
        "    print('noise'); os.write(1, b'more noise'); return old(*a, **k)\n"
        "ezdxf.filemanagement.read = noisy\n"
        "runpy.run_module('routeio.worker', run_name='__main__')\n"
    )
    request = {
        "path": str(path), "task": "read", "options": wire.options_to_json(ReadOptions()),
        "cpu_seconds": 60, "memory_mb": 4000,
    }  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", code], input=json.dumps(request).encode(), capture_output=True, check=True
    )
    assert len(wire.received(done.stdout).lines) == 300
    assert b"noise" in done.stderr

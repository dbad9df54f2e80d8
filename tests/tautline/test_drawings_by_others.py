"""Drawings by others, from end to end: each read, its ducts made a graph, and one feeder evaluated by the command line.

They are those of ezdxf's source distribution (fetched by name from the package registry, where there is one) and those
where TAUTLINE_OPEN_DATA says. None is a route: two vaults are drawn at the ends of the longest line of each.
"""

import json
import os
import subprocess
import sys
import tarfile
from collections import Counter
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from ezdxf import recover

from routeio import InputRefusedError, read_survey
from tautline.main import main

pytestmark = pytest.mark.slow
JOB = """
[job]
units = "si"
[route]
source = "with-vaults.dxf"
ducts = { layer = "*" }
vaults = { block = "TEST-PIT", name = "TAG" }
feeder = ["A", "B"]
units = "m"
snap = "1 mm"
sweep = "10 mm"
[bundle]
cables = 1
diameter = "30 mm"
weight = "2 kgf/m"
conductor = { material = "copper", area = "240 mm2" }
[duct]
inside_diameter = "100 mm"
type = "PVC 40"
[friction]
lubricated = 0.2
[[pull]]
feed = "A"
pull = "B"
"""


@pytest.fixture(scope="module")
def drawings(tmp_path_factory):
    folder = tmp_path_factory.mktemp("source")
    found = (
        sorted((Path(os.environ["TAUTLINE_OPEN_DATA"]) / "dxf").glob("*.dxf"))
        if "TAUTLINE_OPEN_DATA" in os.environ
        else []
    )
    wanted = f"ezdxf=={ezdxf.__version__}"
    command = [
        sys.executable,
        "-m",
        "pip",
        "download",
        "--quiet",
        "--no-deps",
        "--no-binary",
        "ezdxf",
        "-d",
        str(folder),
        wanted,
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    archives = list(folder.glob("*.tar.gz"))
    if done.returncode == 0 and archives:
        with tarfile.open(archives[0]) as archive:
            archive.extractall(folder, filter="data")
        found += sorted(p for p in folder.rglob("*") if p.suffix.lower() == ".dxf")
    if not found:
        pytest.skip("ezdxf's source distribution cannot be had here, and TAUTLINE_OPEN_DATA is not set")
    return found


def as_far_as_it_goes(path):
    """Read a drawing, by recovery where it is damaged; give the survey, or the last refusal."""
    refused = None
    for recovering in (False, True):
        try:
            return read_survey(
                path, ducts="*", units="m", sweep=0.01, snap=0.001, forgiving=True, recover=recovering
            )
        except InputRefusedError as refusal:
            refused = refusal
    return refused


def with_vaults(path, duct, target):
    """A copy of a drawing with a vault at each end of a duct."""
    try:
        drawing = ezdxf.readfile(path)
    except (ezdxf.DXFError, ValueError, AttributeError):
        drawing, _ = recover.readfile(path)
    pit = drawing.blocks.new("TEST-PIT")
    pit.add_point((0, 0))
    pit.add_attdef("TAG", (0, 0))
    for tag, place in (("A", duct.vertices[0]), ("B", duct.vertices[-1])):
        mark = drawing.modelspace().add_blockref("TEST-PIT", place[:2], dxfattribs={"layer": "TEST-PIT"})
        mark.add_auto_attribs({"TAG": tag})
    drawing.audit()  # without its repairs the library does not write some of them
    drawing.saveas(target)


def test_from_drawing_to_pull(drawings, tmp_path, capsys):
    outcomes, findings = Counter(), Counter()
    pulls = 0
    for path in drawings:
        survey = as_far_as_it_goes(path)
        if isinstance(survey, InputRefusedError):
            assert survey.code
            assert survey.remedy
            assert survey.where.file == path.name
            outcomes[f"refused {survey.code}"] += 1
            continue
        outcomes["read"] += 1
        findings.update(f.code for f in survey.findings)
        assert main(["inspect", str(path), "--ducts", "*", "--units", "m", "--json"]) in (0, 3)
        capsys.readouterr()
        open_ducts = [d for d in survey.ducts if np.hypot(*(d.vertices[0] - d.vertices[-1])[:2]) > 1.0]
        if not open_ducts:
            continue
        duct = max(open_ducts, key=lambda d: d.chain.total_length)
        with_vaults(path, duct, tmp_path / "with-vaults.dxf")
        job = tmp_path / "job.toml"
        job.write_text(JOB)
        status = main(["check", str(job), "--json"])
        said = capsys.readouterr()
        assert status in (0, 1, 3), f"{path.name}: {said.err}"
        outcomes[f"status {status}"] += 1
        if status < 3:
            (pull,) = json.loads(said.out)["pulls"]
            assert (pull["feed"], pull["pull"]) == ("A", "B")
            # the cable weighs 2 kgf/m and nothing is lubricated better than 0.2: at least that much on a level straight
            straight = float(np.hypot(*(duct.vertices[0] - duct.vertices[-1])[:2]))
            assert pull["exit_tension_N"] > 0.9 * 0.2 * 2 * 9.80665 * straight
            pulls += 1
    with capsys.disabled():
        sys.stdout.write(
            f"\n{len(drawings)} drawings: {dict(outcomes)}; findings: {dict(findings.most_common())}\n"
        )
    assert pulls >= 5

"""Drawings by others: every entity counted, against a count of the file's own group codes; no crash.

Four drawings from the tests of an open-source viewer, where TAUTLINE_OPEN_DATA says they are.
"""

import os
from collections import Counter
from pathlib import Path

import pytest

from routeio.findings import InputRefusedError

OPEN_DATA = os.environ.get("TAUTLINE_OPEN_DATA")
pytestmark = pytest.mark.skipif(not OPEN_DATA, reason="TAUTLINE_OPEN_DATA is not set")
#: Parts of other entities.
PARTS = {"VERTEX", "SEQEND", "ATTRIB"}


def drawings():
    return sorted((Path(OPEN_DATA) / "dxf").glob("*.dxf")) if OPEN_DATA else []


def kinds_in(path):
    """Count entities by reading group codes, without any library."""
    lines = path.read_text(encoding="cp1252").splitlines()
    pairs = [(lines[k].strip(), lines[k + 1].strip()) for k in range(0, len(lines) - 1, 2)]
    start = pairs.index(("2", "ENTITIES"))
    counts: Counter[str] = Counter()
    for code, value in pairs[start:]:
        if (code, value) == ("0", "ENDSEC"):
            break
        if code == "0" and value not in PARTS:
            counts[value] += 1
    return counts


@pytest.mark.parametrize("path", drawings(), ids=lambda p: p.stem)
def test_read_and_skipped_are_all_there_are(path, raw):
    read = raw(path, ducts="*", units="in")
    ours: Counter[str] = Counter()
    for key, number in read.counts.items():
        verb, kind, *inside = key.split(" ")
        assert verb in {"read", "skipped"}
        if not inside:
            ours[kind] += number
    theirs = kinds_in(path)
    paper = ours - theirs  # layouts other than the active one keep their entities in their blocks
    assert theirs - ours == Counter()
    assert set(paper) <= {"VIEWPORT"}


def test_a_floor_plan_with_doubles_and_nothings(survey, codes):
    """It says millimetres and is drawn in inches; zero-length and doubled lines, mirrored entities."""
    path = Path(str(OPEN_DATA)) / "dxf" / "floorplan.dxf"
    walls = survey(path, ducts="*WALL*", units="in", sweep=0.1, snap=0.01)
    assert codes(walls)["units-overridden"] == 1
    assert codes(walls)["zero-length"] == 4
    # six of the doubled lines are little closed ones: outlines, and so doubled vaults
    assert codes(walls)["duplicate-line"] + codes(walls)["duplicate-vault"] >= 14
    assert walls.ducts
    assert "extent-doubtful" in codes(survey(path, ducts="*WALL*", sweep=0.001, snap=0.0001))
    with pytest.raises(InputRefusedError):
        survey(path, ducts="*WALL*")  # corners, and no sweep

"""Mutants: files damaged at random, by seed, are read or refused; none crashes the reader, hangs or eats memory.

Each mutant is read in a forked process with the limits of the worker, so that a crash inside a library counts too.
"""

import gc
import os
import random
import shutil
import sys
from collections import Counter
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from ezdxf.math import Matrix44
from shapely.geometry import LineString, MultiLineString, Point

from routeio import dxf, dxf_peek, gis, gis_peek, worker
from routeio.findings import InputRefusedError
from routeio.firstbytes import reader_for
from routeio.options import ReadOptions, Selection
from routeio.read import survey_of

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a system that forks")

READ = {"dxf": (dxf.read, dxf_peek.peek), "gis": (gis.read, gis_peek.peek)}
#: What is put in the place of a value.
WORDS = (
    b"0", b"-1", b"1e999", b"nan", b"1e20", b"", b"70", b"INSERT", b"POLYLINE", b"SPLINE", b"ENDSEC", b"999999999",
    b"2147483648", b"\xff\xfe", b"null", b"[]",
)  # fmt: skip


def rich_drawing(path: Path, form: str) -> None:
    """A small drawing with every kind of entity that is read."""
    drawing = ezdxf.new("R2010", units=6)
    space, duct, vault = drawing.modelspace(), {"layer": "DUCT"}, {"layer": "VAULT"}
    manhole = drawing.blocks.new("MH", base_point=(1, 1))
    manhole.add_lwpolyline([(-1, -1), (1, -1), (1, 1), (-1, 1)], close=True)
    manhole.add_attdef("TAG", (0, 0))
    run = drawing.blocks.new("RUN")
    run.add_lwpolyline([(0, 0, 0.2), (10, 0, 0), (20, 5, 0)], format="xyb", dxfattribs=duct)
    run.add_arc((0, 0), 4, 0, 50, dxfattribs=duct)
    run.add_blockref("MH", (20, 5), dxfattribs=vault).add_auto_attribs({"TAG": "R"})
    outer = drawing.blocks.new("OUT")
    outer.add_blockref(
        "RUN", (1, 2), dxfattribs={"rotation": 30, "xscale": -1, "row_count": 2, "row_spacing": 60}
    )
    for k in range(3):
        space.add_blockref("MH", (k * 50, 0), dxfattribs=vault).add_auto_attribs({"TAG": f"M{k}"})
        space.add_lwpolyline(
            [(k * 50, 0, 0), (k * 50 + 20, 0, 0.3), (k * 50 + 50, 0, 0)], format="xyb", dxfattribs=duct
        )
    space.add_blockref("OUT", (0, 300), dxfattribs={**duct, "extrusion": (0, 0, -1)})
    space.add_spline([(0, 50), (10, 60), (30, 55), (50, 70)], dxfattribs=duct)
    space.add_ellipse((0, 100), (20, 0), 0.5, 0, 3, dxfattribs=duct)
    space.add_polyline3d([(0, 150, 1), (10, 150, 2), (20, 160, 3)], dxfattribs=duct)
    space.add_polyline2d([(0, 200, 0.5), (9, 200, 0)], format="xyb", dxfattribs=duct)
    space.add_circle((0, 150), 1, dxfattribs=vault)
    space.add_text("T-1", dxfattribs={**vault, "insert": (1, 151)})
    space.add_mtext("T-2", dxfattribs={**vault, "insert": (20, 161)})
    space.add_arc((0, 0), 6, 270, 360, dxfattribs=duct).transform(Matrix44.x_rotate(1))
    space.add_hatch(dxfattribs=duct)
    drawing.saveas(path, fmt=form)


def mutated(data: bytes, rng: random.Random, separator: bytes) -> bytes:
    """Bytes changed, cut out, doubled, moved; values replaced; the end cut off."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 4, 16))):
        at = rng.randrange(len(out) + 1)
        kind = rng.randrange(8)
        if kind == 0 and out:
            out[min(at, len(out) - 1)] = rng.randrange(256)
        elif kind == 1:
            del out[at : at + rng.randrange(1, 400)]
        elif kind == 2:
            out[at:at] = out[max(0, at - rng.randrange(1, 400)) : at]
        elif kind == 3 and rng.random() < 0.3:
            del out[at:]
        elif kind in (4, 5, 6) and separator:
            parts = bytes(out).split(separator)
            where = rng.randrange(len(parts))
            parts[where] = rng.choice(WORDS) if kind < 6 else rng.choice(parts)
            out = bytearray(separator.join(parts))
        elif kind == 7:
            other = rng.randrange(len(out) + 1)
            out[at : at + 8] = out[other : other + 8]
    return bytes(out)


def _address_space() -> float:
    """MB that a fork starts out with: all that the tests before this one have loaded."""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    except OSError:
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def outcome(path: Path, seed: int) -> str:
    """Read a file in a process of its own; say what came of it."""
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read_end)
        gc.disable()
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 1)
            os.dup2(nowhere.fileno(), 2)
        worker.limit(10.0, _address_space() + 1500.0)
        said = "fell over"
        try:
            said = _read(path, seed)
        except InputRefusedError as refusal:
            said = f"refused {refusal.code}"
            if not (refusal.code and refusal.where.file and refusal.remedy):
                said = f"refused without {refusal!r}"
        except Exception as error:  # noqa: BLE001  (whatever it is, it is the fault looked for)
            said = f"crashed {type(error).__name__}: {error}"
        finally:
            os.write(write_end, said.encode("utf-8", "replace")[:4000])
            os._exit(0)
    os.close(write_end)
    with os.fdopen(read_end, "rb") as stream:
        said = stream.read().decode()
    _, status = os.waitpid(child, 0)
    return said or f"died with status {status}"


def _read(path: Path, seed: int) -> str:
    reader, _ = reader_for(path)
    read, peek = READ[reader]
    is_drawing = reader == "dxf"
    options = ReadOptions(
        ducts=Selection("DUCT*" if is_drawing else ()), vaults=Selection("VAULT*" if is_drawing else ()),
        units="m" if is_drawing else None, sweep=3.0, recover=seed % 4 == 3,
    )  # fmt: skip
    if seed % 2:
        peek(path)
    raw = read(path, options)
    if is_drawing and not options.recover:
        drawing = ezdxf.readfile(path)
        top = sum(n for kind, n in raw.counts.items() if not kind.endswith("inside blocks"))
        if top != sum(len(layout) for layout in drawing.layouts):
            return f"lost count: {dict(raw.counts)}"
    survey_of(raw, options, "x", "")
    return "read"


def run(tmp_path: Path, name: str, count: int) -> Counter[str]:
    source = tmp_path / name
    separator = {".dxf": b"\n", ".geojson": b","}.get(source.suffix, b"")
    if name.startswith("binary"):
        separator = b""
    data = source.read_bytes()
    folder = tmp_path / "mutants"
    folder.mkdir()
    for beside in tmp_path.glob(f"{source.stem}.*"):
        shutil.copy(beside, folder / beside.name)
    outcomes: Counter[str] = Counter()
    for seed in range(count):
        path = folder / name
        path.write_bytes(mutated(data, random.Random(seed), separator))
        said = outcome(path, seed)
        outcomes[said] += 1
        assert said == "read" or said.startswith("refused "), f"seed {seed}: {said}"
        assert not said.startswith("refused without"), f"seed {seed}: {said}"
    return outcomes


FORMATS = ("text.dxf", "binary.dxf", "layer.gpkg", "layer.geojson", "layer.shp", "layer.fgb")


@pytest.fixture
def files(tmp_path, layer):
    rich_drawing(tmp_path / "text.dxf", "asc")
    rich_drawing(tmp_path / "binary.dxf", "bin")
    lines = [LineString([(9 + 0.001 * k, 48), (9.001 + 0.001 * k, 48.0)]) for k in range(8)]
    many = MultiLineString([[(9, 48.1), (9.1, 48.1)], [(9.1, 48.1), (9.2, 48.2)]])
    for name in FORMATS[2:]:
        mixed = [Point(9, 48)] if name.endswith(("gpkg", "geojson")) else []
        geometries = [*lines, many, *mixed]
        kind = "Unknown" if mixed else "MultiLineString"
        columns = {"name": [f"n{k}" for k in range(len(geometries))], "len": np.arange(len(geometries)) * 1.5}
        layer(geometries, name, "ducts", "EPSG:4326", kind, **columns)
    return tmp_path


@pytest.mark.parametrize("name", FORMATS)
def test_a_hundred_mutants(files, name):
    outcomes = run(files, name, 100)
    assert len(outcomes) > 1  # some are refused: the mutations reach what is read


@pytest.mark.slow
@pytest.mark.parametrize("name", FORMATS)
def test_ten_thousand_mutants(files, name, capsys):
    outcomes = run(files, name, 10_000)
    with capsys.disabled():
        sys.stdout.write(f"\n{name}: {dict(outcomes.most_common())}\n")

"""Mutants: files damaged at random, by seed, are read or refused; none crashes the reader, hangs or eats memory.

Mutants are read in a forked process with the worker's limit on memory, so that a crash inside a library counts too.
The 100 of a format that every run reads are the first of the 10,000 of ``make fuzz``.
"""

import gc
import os
import random
import select
import shutil
import signal
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn

import ezdxf
import geopandas
import numpy as np
import pytest
from ezdxf.math import Matrix44
from shapely.geometry import LineString, MultiLineString, Point

from routeio import (
    dxf,
    dxf_peek,
    gis,
    gis_arrow,
    gis_parquet,
    gis_peek,
    landxml,
    landxml_peek,
    table,
    table_peek,
    worker,
)
from routeio.clean import clean
from routeio.dxf_open import open_drawing
from routeio.findings import InputRefusedError
from routeio.firstbytes import reader_for
from routeio.options import ReadOptions, Selection
from routeio.read import survey_of
from tautline.new_table import table_template

pytestmark = pytest.mark.skipif(not Path("/proc/self/clear_refs").exists(), reason="needs Linux")

#: What one mutant may take: processor time [s] and memory [MB].
MOST_SECONDS, MOST_MEMORY = 10.0, 1000.0
READ = {
    "dxf": (dxf.read, dxf_peek.peek), "gis": (gis.read, gis_peek.peek), "landxml": (landxml.read, landxml_peek.peek),
    "table": (table.read, table_peek.peek),
}  # fmt: skip
#: What is put in the place of a value.
WORDS = (
    b"0", b"-1", b"1e999", b"nan", b"1e20", b"", b"70", b"INSERT", b"POLYLINE", b"SPLINE", b"ENDSEC", b"999999999",
    b"2147483648", b"\xff\xfe", b"null", b"[]",
)  # fmt: skip

#: A small file with every element that is read.
LANDXML = """<?xml version="1.0"?>
<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2">
<Units><Metric linearUnit="meter" directionUnit="grads"/></Units>
<CgPoints><CgPoint name="1">0 0</CgPoint></CgPoints>
<Alignments><Alignment name="Duct 1" length="261" staStart="-10"><CoordGeom>
<Line dir="0"><Start pntRef="1"/><End>0 100</End></Line>
<Spiral length="60" radiusStart="INF" radiusEnd="50" rot="ccw" spiType="clothoid"><Start>0 100</Start><PI>0 141</PI>
<End>11.529 157.912</End></Spiral>
<Curve rot="ccw" radius="50"><Start>11.529 157.912</Start><Center>52.796 129.679</Center><End>41 178.268</End></Curve>
<IrregularLine><PntList3D>41 178.268 1 60 183 2 90 180 3</PntList3D></IrregularLine>
</CoordGeom><Profile><ProfAlign name="a"><PVI>-10 5</PVI><ParaCurve length="20">30 6</ParaCurve>
<CircCurve radius="500">100 5</CircCurve><UnsymParaCurve lengthIn="10" lengthOut="20">150 7</UnsymParaCurve>
<PVI>260 8</PVI></ProfAlign><ProfSurf name="g"><PntList2D>0 5 9 5</PntList2D></ProfSurf></Profile></Alignment></Alignments>
<PipeNetworks><PipeNetwork name="vaults"><Structs><Struct name="M1" elevRim="9"><Center>0 0</Center><Invert elev="5"/>
</Struct><Struct name="M2"><Center>0 100</Center><CircStruct diameter="2"/></Struct></Structs></PipeNetwork></PipeNetworks>
</LandXML>
"""


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
    for k in range(6):
        flags = {"elevation": k % 2, "layer": "NOTES" if k == 3 else "DUCT"}
        space.add_lwpolyline(
            [(k, 400, 0), (k + 9, 410, 0.1), (k + 20, 410, 0)], format="xyb", dxfattribs=flags
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


class FaultsError(Exception):
    """A mutant that was neither read nor refused."""


def _now_in_use() -> tuple[float, float]:
    """MB of address space and of memory that this process holds."""
    pages = [int(n) for n in Path("/proc/self/statm").read_text(encoding="ascii").split()[:2]]
    return tuple(n * os.sysconf("SC_PAGE_SIZE") / 1e6 for n in pages)


def _peak() -> float:
    """MB held at most since the last call; the system starts counting anew."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
    return next(int(row.split()[1]) / 1e3 for row in status.splitlines() if row.startswith("VmHWM"))


def _cpu(child: int) -> float:
    """Seconds of processor time that a process has used."""
    fields = Path(f"/proc/{child}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def outcomes_of(path: Path, data: bytes, separator: bytes, seeds: range) -> Iterator[tuple[int, str, float]]:
    """Read mutants one after another in a forked process; give seed, what came of it, and memory [MB].

    A process that dies or hangs is replaced by another, which goes on with the next seed.
    """
    at = seeds.start
    while at < seeds.stop:
        read_end, write_end = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(read_end)
            _read_all(path, data, separator, range(at, seeds.stop), write_end)
        os.close(write_end)
        with os.fdopen(read_end, "rb", buffering=0) as stream:
            waiting, began = b"", _cpu(child)
            while at < seeds.stop:
                if not select.select([stream], [], [], 1.0)[0]:
                    if _cpu(child) - began > MOST_SECONDS:
                        os.kill(child, signal.SIGKILL)
                    continue
                more = stream.read(1 << 16)
                if not more:
                    break
                *lines, waiting = (waiting + more).split(b"\n")
                for line in lines:
                    said, held = line.decode("utf-8", "replace").rsplit("\t", 1)
                    yield at, said, float(held)
                    at += 1
                began = _cpu(child)
        _, status = os.waitpid(child, 0)
        if at < seeds.stop:
            killed = os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL
            yield at, "hung" if killed else f"died with status {status}", 0.0
            at += 1


def _read_all(path: Path, data: bytes, separator: bytes, seeds: range, write_end: int) -> NoReturn:
    with open(os.devnull, "wb") as nowhere:
        os.dup2(nowhere.fileno(), 1)
        os.dup2(nowhere.fileno(), 2)
    gc.freeze()
    space, _ = _now_in_use()
    worker.limit(36_000.0, space + MOST_MEMORY)
    for seed in seeds:
        path.write_bytes(mutated(data, random.Random(seed), separator))
        _, before = _now_in_use()
        _peak()
        said = "fell over"
        try:
            said = _read(path, seed)
        except InputRefusedError as refusal:
            said = f"refused {refusal.code}"
            if not (refusal.code and refusal.where.file and refusal.remedy):
                said = f"refused without {refusal!r}"
        except Exception as error:  # noqa: BLE001  (whatever it is, it is the fault looked for)
            said = f"crashed {type(error).__name__}: {error}"
        line = f"{' '.join(said.split())[:3000]}\t{_peak() - before:.0f}\n"
        os.write(write_end, line.encode("utf-8", "replace"))
        if seed % 50 == 0:
            gc.collect()
    os._exit(0)


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
    gis_arrow.FEWEST = 0 if seed % 3 else 1_000  # layers as large ones are read, and as small ones
    opened = []
    if is_drawing:
        dxf.open_drawing = lambda *told, **how: opened.append(open_drawing(*told, **how)) or opened[-1]
    raw = read(path, options)
    top = sum(n for kind, n in raw.counts.items() if not kind.endswith("inside blocks"))
    if is_drawing:
        # all of it as the library reads it, whatever was lifted from the text
        whole = opened[-1] if opened[-1].lifted is None else open_drawing(path, options)
        there = sum(1 for layout in whole.drawing.layouts for _ in layout)
        ended = (
            b"EOF" in path.read_bytes()[-1024:]
        )  # what stands after the end mark is no part of the drawing
        if not ended and "file-cut" not in {f.code for f in raw.findings}:
            return "cut and not said"
    else:
        there = sum(sum(kinds.values()) for kinds in raw.layers.values())
    if (
        path.suffix == ".csv"
        and "read end" not in raw.counts
        and "no-end-row" not in {f.code for f in raw.findings}
    ):
        return "cut and not said"
    if top != there:
        return f"lost count: {there} in the file, {dict(raw.counts)}"
    if seed % 10 == 0:
        survey_of(raw, options, "x", "")  # with every line's shape
    else:
        clean(raw, options)
    return "read"


def run(tmp_path: Path, name: str, count: int) -> tuple[Counter[str], float]:
    """Read mutants of a file; give how many came to what, and the most memory that one took [MB]."""
    source = tmp_path / name
    separator = {".dxf": b"\n", ".geojson": b"}", ".csv": b",", ".landxml": b'"'}.get(source.suffix, b"")
    if name.startswith("binary"):
        separator = b""
    folder = tmp_path / "mutants"
    folder.mkdir()
    for beside in tmp_path.glob(f"{source.stem}.*"):
        shutil.copy(beside, folder / beside.name)
    outcomes: Counter[str] = Counter()
    most = 0.0
    faults = []
    for seed, said, held in outcomes_of(folder / name, source.read_bytes(), separator, range(count)):
        outcomes[said if said.startswith(("read", "refused ")) else "fault"] += 1
        most = max(most, held)
        if (said != "read" and not said.startswith("refused ")) or held > MOST_MEMORY:
            faults.append(f"seed {seed}: {said} ({held:.0f} MB)")
    if faults:
        raise FaultsError(f"{len(faults)} of {count} mutants of {name}: " + "\n".join(faults[:20]))
    return outcomes, most


FORMATS = (
    "text.dxf", "binary.dxf", "layer.gpkg", "layer.geojson", "layer.shp", "layer.fgb", "layer.parquet", "route.landxml",
    "spans.csv", "spans.xlsx",
)  # fmt: skip


@pytest.fixture
def files(tmp_path, layer):
    rich_drawing(tmp_path / "text.dxf", "asc")
    rich_drawing(tmp_path / "binary.dxf", "bin")
    lines = [LineString([(9 + 0.001 * k, 48), (9.001 + 0.001 * k, 48.0)]) for k in range(8)]
    many = MultiLineString([[(9, 48.1), (9.1, 48.1)], [(9.1, 48.1), (9.2, 48.2)]])
    for name in FORMATS[2:6]:
        mixed = [Point(9, 48)] if name.endswith(("gpkg", "geojson")) else []
        geometries = [*lines, many, *mixed]
        kind = "Unknown" if mixed else "MultiLineString"
        columns = {"name": [f"n{k}" for k in range(len(geometries))], "len": np.arange(len(geometries)) * 1.5}
        layer(geometries, name, "ducts", "EPSG:4326", kind, **columns)
    (tmp_path / "route.landxml").write_text(LANDXML, encoding="utf-8")
    for name in ("spans.csv", "spans.xlsx"):
        (tmp_path / name).write_bytes(table_template(tmp_path / name))
    if gis_parquet.parquet is not None:
        frame = geopandas.read_file(tmp_path / "layer.gpkg")
        frame.to_parquet(tmp_path / "layer.parquet")
    return tmp_path


@pytest.mark.parametrize("name", FORMATS)
def test_a_hundred_mutants(files, name):
    if not (files / name).exists():
        pytest.skip("pyarrow is not installed")
    outcomes, _ = run(files, name, 100)
    assert len(outcomes) > 1  # some are refused: the mutations reach what is read


@pytest.mark.slow
@pytest.mark.parametrize("name", FORMATS)
def test_ten_thousand_mutants(files, name, capsys):
    if not (files / name).exists():
        pytest.skip("pyarrow is not installed")
    began = time.monotonic()
    count = int(os.environ.get("MUTANTS", "10000"))
    outcomes, most = run(files, name, count)
    with capsys.disabled():
        refused = count - outcomes["read"]
        why = ", ".join(
            f"{n} {said.removeprefix('refused ')}" for said, n in outcomes.most_common() if said != "read"
        )
        sys.stdout.write(
            f"\n{name}: {count} mutants, {outcomes['read']} read, {refused} refused ({why}), at most "
            f"{most:.0f} MB, {time.monotonic() - began:.0f} s\n"
        )

"""Light polylines lifted from a drawing's text: the same as the library reads them, or left to it."""

import io
import random
import time
from itertools import pairwise

import ezdxf
import numpy as np
import pytest

from routeio import dxf, dxf_peek, wire
from routeio.dxf_lift import Rest, lifted
from routeio.dxf_open import open_drawing
from routeio.findings import InputRefusedError
from routeio.options import ReadOptions, Selection

OPTIONS = ReadOptions(ducts=Selection("DUCT*"), vaults=Selection("VAULT"), sweep=3.0)
#: What a line of text is replaced by.
LINES = (
    b" 10", b" 20", b" 30", b" 42", b" 91", b"  5", b"  8", b"210", b"999", b" 67", b"  0", b" 70", b"1e1", b"10.0", b"+10",
    b"1_0", b"", b" ", b"-", b"1.2.3", b"1 2", b".5", b"5.", b"1e400", b"nan", b"1e9", b"0", b"DUCT", b"EOF", b"ENDSEC",
    b"LWPOLYLINE", b"POLYLINE", b"\xff", b"\t20", b"20 ",
)  # fmt: skip


def made(path, count=40, seed=1, **more):
    """A drawing of polylines of several kinds in a row, among other things."""
    rng = random.Random(seed)
    drawing = ezdxf.new("R2010", units=6)
    space = drawing.modelspace()
    for k in range(count):
        at = {"layer": rng.choice(("DUCT", "DUCT", "DUCT2", "NOTES"))}
        kind = rng.randrange(12)
        at |= {0: {"elevation": 1.5}, 1: {"flags": 1}, 2: {"extrusion": (0, 0, -1)}, 3: {"color": 3}}.get(
            kind, {}
        )
        points = [(9 * i + rng.random(), 9 * k + rng.random(), rng.choice((0, 0.3, -0.9))) for i in range(5)]
        line = space.add_lwpolyline(points, format="xyb", dxfattribs=at | more)
        if kind == 4:
            line.set_xdata("ACAD", [(1000, "a word")])
        if kind == 5:
            space.add_line((0, 9 * k), (9, 9 * k), dxfattribs={"layer": "DUCT"})
    drawing.layout("Layout1").add_lwpolyline([(0, 0), (1, 1)], dxfattribs={"layer": "DUCT"})
    drawing.saveas(path)
    return path


def outcome(path, options=OPTIONS):
    """What came of reading and peeking, to the last bit."""
    stream = io.BytesIO()
    try:
        wire.send_survey(dxf.read(path, options), stream)
        return stream.getvalue(), dxf_peek.peek(path)
    except InputRefusedError as refusal:
        return refusal.code, refusal.message, refusal.where, refusal.findings


@pytest.fixture
def both(monkeypatch):
    """Read a file with polylines lifted and with none; give both, and how many were lifted."""

    def run(path, options=OPTIONS):
        count = []

        def opening(*told, lift=False):
            got = open_drawing(*told, lift=lift)
            count.append(0 if got.lifted is None else len(got.lifted.handles))
            return got

        def whole(*told, lift=False):
            return open_drawing(*told)

        with monkeypatch.context() as patch:
            patch.setattr(dxf, "open_drawing", opening)
            first = outcome(path, options)
            patch.setattr(dxf, "open_drawing", whole)
            patch.setattr(dxf_peek, "open_drawing", whole)
            return first, outcome(path, options), max(count, default=0)

    return run


def test_the_same_as_the_library_reads(tmp_path, both):
    path = made(tmp_path / "a.dxf")
    with_, without, count = both(path)
    assert count > 10
    assert with_ == without
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert both(path) == (with_, without, count)  # names and numbers do not depend on the line ends


def test_numbers_and_places_are_those_written(tmp_path):
    path = made(tmp_path / "a.dxf")
    opened = open_drawing(path, OPTIONS, lift=True)
    ours = opened.lifted
    whole = {e.dxf.handle: e for e in ezdxf.readfile(path).modelspace()}
    ends = np.cumsum(ours.sizes)
    for handle, last, size in zip(ours.handles, ends, ours.sizes, strict=True):
        theirs = np.array(list(whole[handle].lwpoints))
        assert (ours.points[last - size : last] == theirs[:, :2]).all()
        assert (ours.bulge[last - size : last] == theirs[:, 4]).all()
    kept = {e.dxf.handle for e in opened.drawing.modelspace()}
    assert kept.isdisjoint(ours.handles)
    assert kept | set(ours.handles) == set(whole)
    order = list(whole)
    for handle, (first, last) in ours.places.items():
        at = order.index(handle)
        assert order[at + 1 : at + 1 + last - first] == list(ours.handles[first:last])


@pytest.mark.parametrize("seed", range(24))
def test_damaged_text_is_read_as_without(tmp_path, both, seed):
    rng = random.Random(seed)
    path = made(tmp_path / "a.dxf", 12, 3)
    lines = path.read_bytes().split(b"\n")
    begin, end = lines.index(b"ENTITIES"), lines.index(b"ENDSEC", lines.index(b"ENTITIES")) + 2
    for _ in range(rng.choice((1, 1, 3))):
        at, other = rng.randrange(begin, end), rng.randrange(begin, end)
        kind, some = rng.randrange(5), rng.choice((1, 2, 2, 30))
        if kind == 0:
            del lines[at : at + some]
        elif kind == 1:
            lines[at:at] = lines[other : other + some]
        elif kind == 2:
            lines[at] = lines[other]
        else:
            lines[at] = rng.choice(LINES)
    path.write_bytes(b"\n".join(lines))
    with_, without, _ = both(path)
    assert with_ == without


def test_two_of_one_handle_and_another_section_are_left_to_the_library(tmp_path, both):
    path = made(tmp_path / "a.dxf")
    text = path.read_bytes()
    handle = open_drawing(path, OPTIONS, lift=True).lifted.handles[3].encode()
    other = open_drawing(path, OPTIONS, lift=True).lifted.handles[5].encode()
    path.write_bytes(text.replace(b"\n  5\n" + handle + b"\n", b"\n  5\n" + other + b"\n"))
    with_, without, count = both(path)
    assert (with_, count) == (without, 0)
    path.write_bytes(text.replace(b"  0\nEOF", b"  0\nSECTION\n  2\nENTITIES\n  0\nENDSEC\n  0\nEOF"))
    with_, without, count = both(path)
    assert (with_, count) == (without, 0)


def test_what_needs_the_entity_is_read_whole(tmp_path, both):
    path = made(tmp_path / "a.dxf")
    for options in (
        ReadOptions(ducts=Selection("DUCT"), vaults=Selection("DUCT2"), sweep=3.0),
        ReadOptions(ducts=Selection("DUCT", color="3"), sweep=3.0),
        ReadOptions(ducts=Selection("DUCT*"), units="mile", sweep=3.0),
    ):
        with_, without, _ = both(path, options)
        assert with_ == without


def test_rest_gives_the_parts_whatever_is_asked_for_at_once():
    text = bytes(range(200))
    kept = [(0, 3), (5, 5), (10, 150), (199, 200)]
    wanted = b"".join(text[a:b] for a, b in kept)
    assert Rest(text, kept).read() == wanted
    stream = Rest(text, kept)
    assert b"".join(iter(lambda: stream.read(7), b"")) == wanted


def test_nothing_is_lifted_from_what_is_no_drawing():
    for text in (
        b"",
        b"\nENTITIES\n",
        b"0\nSECTION\n2\nENTITIES\n",
        b"0\nSECTION\n2\nENTITIES\n0\nENDSEC\n0\nEOF\n",
    ):
        assert lifted(text) is None


def test_parts_kept_are_in_order(tmp_path):
    text = made(tmp_path / "a.dxf").read_bytes()
    _, kept = lifted(text)
    assert kept[0][0] == 0
    assert kept[-1][1] == len(text)
    assert all(a < b < c for (a, b), (c, _) in pairwise(kept))


@pytest.mark.parametrize("filler", [b"\n", b" ", b"\r\n", b"  0\n", b"  0\nLWPOLYLINE\n", b" 10\n1\n"])
def test_long_runs_of_nothing_take_no_time(filler):
    text = b"  0\nSECTION\n  2\nENTITIES\n" + filler * (600_000 // len(filler))
    began = time.process_time()
    assert lifted(text + b"\n  0\nENDSEC\n  0\nEOF\n") is None
    assert time.process_time() - began < 5.0

"""Lines decoded from well-known binary without a geometry made of each; the truth is shapely's decoding."""

import struct

import numpy as np
import pyogrio.raw
import pytest
import shapely

from routeio import gis_arrow, gis_open
from routeio.gis_parts import kinds_of, parts_of
from routeio.layer_facts import Features
from routeio.wkb import LineDecoder

pyarrow = pytest.importorskip("pyarrow")


def chunk(records, before=b""):
    """Records as one array of bytes, not at its beginning."""
    values = [b"" if r is None else r for r in records]
    ends = np.cumsum([len(before), *map(len, values)])
    data = np.frombuffer(before + b"".join(values) + b"beyond", np.uint8)[: ends[-1]]
    return ends, data, np.array([r is not None for r in records], dtype=bool)


def plain_lines(chunks, room=0):
    """The plain lines of chunks decoded one after another."""
    decoder = LineDecoder(room)
    kinds = [decoder.add(*some) for some in chunks]
    lines = decoder.lines()
    assert lines.kind.tolist() == [kind for some in kinds for kind in some.tolist()]
    return lines


def line(rng, flavor="iso", parts=None, z=None, order=1):
    """A random line of 2 to 30 vertices as shapely writes it, or a multi-line of several."""
    z = bool(rng.random() < 0.5) if z is None else z
    made = [rng.normal(0, 1e6, (rng.integers(2, 31), 3 if z else 2)) for _ in range(parts or 1)]
    shape = shapely.LineString(made[0]) if parts is None else shapely.MultiLineString(made)
    return shapely.to_wkb(shape, flavor=flavor, byte_order=order)


def others(rng):
    """Records that are no plain line: some that shapely reads, and some that nobody does."""
    sound = line(rng, z=False)
    count = struct.unpack_from("<I", sound, 5)[0]
    return [
        None,
        b"",
        b"\x01",
        sound[:9],
        sound[:-1],
        sound[:-8],
        sound + b"\x00",
        sound[:5] + struct.pack("<I", count + 1) + sound[9:],
        sound[:5] + struct.pack("<I", count - 1) + sound[9:],
        sound[:5] + struct.pack("<I", 0xFFFFFFFF) + sound[9:],
        b"\x02" + sound[1:],
        struct.pack("<BII2d", 1, 2, 1, 3.0, 4.0),
        struct.pack("<BIIBII2d", 1, 5, 1, 1, 2, 1, 3.0, 4.0),
        line(rng, parts=1, z=False)[:9] + line(rng, z=True),
        line(rng, order=0),
        line(rng, parts=1, order=0),
        line(rng, parts=2),
        shapely.to_wkb(shapely.Point(1, 2)),
        shapely.to_wkb(shapely.LineString()),
        shapely.to_wkb(shapely.MultiLineString()),
        shapely.to_wkb(shapely.box(0, 0, 1, 1)),
        shapely.to_wkb(shapely.set_srid(shapely.LineString([(0, 0), (1, 1)]), 4326), include_srid=True),
        struct.pack("<BII6d", 1, 2002, 2, *range(6)),
        struct.pack("<BII8d", 1, 3002, 2, *range(8)),
        struct.pack("<BII8d", 1, 0xC0000002, 2, *range(8)),
    ]


@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("seed", range(5))
def test_plain_lines_are_those_of_shapely(seed, share):
    """Plain lines of both dimensions, both flavors and both kinds, ``share`` of them something else."""
    rng = np.random.default_rng(seed)
    chunks, every = [], []
    for _ in range(3):
        odd = others(rng)
        records = [
            odd[rng.integers(len(odd))]
            if rng.random() < share
            else line(rng, flavor=("iso", "extended")[rng.integers(2)], parts=(None, 1)[rng.integers(2)])
            for _ in range(60)
        ]
        chunks.append(chunk(records, before=bytes(rng.integers(0, 20))))
        every += records
    plain = plain_lines(chunks, (0, 10, 10_000)[seed % 3])
    if share in (0.0, 1.0):
        assert ((plain.kind >= 0) == (share == 0.0)).all()
    geometry = shapely.from_wkb(np.array(every, dtype=object), on_invalid="ignore")
    rest = np.where(plain.kind < 0, geometry, None)
    nothing = np.zeros(len(every), dtype=bool)
    ours = Features(np.arange(len(every)), rest, nothing, {}, None, (), plain)
    theirs = Features(np.arange(len(every)), geometry, nothing, {}, None)
    kinds = kinds_of(theirs)
    assert kinds_of(ours).tolist() == kinds.tolist()
    lines = np.flatnonzero((kinds == 1) | (kinds == 5))
    for rows in (lines, lines[::3], lines[:0], np.flatnonzero(kinds == 0)):
        mine, right = parts_of(ours, rows), parts_of(theirs, rows)
        np.testing.assert_array_equal(mine.coordinates, right.coordinates)
        assert mine.sizes.tolist() == right.sizes.tolist()
        assert mine.owner.tolist() == right.owner.tolist()
        assert mine.rows.tolist() == right.rows.tolist()
    if lines.size:
        mine = parts_of(ours, lines)
        assert mine.row_at(0) == lines[mine.owner[0]]
        assert mine.row_at(len(mine.coordinates) - 1) == lines[mine.owner[-1]]


def test_numbers_that_are_no_places_come_through():
    values = [0.0, np.nan, np.inf, 1e300, -0.0, 5e-324]
    record = struct.pack("<BII6d", 1, 2, 3, *values)
    plain = plain_lines([chunk([record])])
    np.testing.assert_array_equal(plain.coordinates[:, :2], shapely.get_coordinates(shapely.from_wkb(record)))
    assert np.isnan(plain.coordinates[:, 2]).all()


def test_no_records_at_all():
    assert plain_lines([]).coordinates.shape == (0, 3)
    assert plain_lines([chunk([])]).kind.size == 0
    assert plain_lines([chunk([None, None])]).kind.tolist() == [-1, -1]


@pytest.mark.parametrize(
    ("name", "kind"),
    [("a.gpkg", "LineString"), ("a.gpkg", "Unknown"), ("a.shp", "LineString"), ("a.fgb", "Unknown")],
)
def test_a_layer_read_either_way(name, kind, tmp_path, raw, monkeypatch):
    """The same layer as an Arrow table and feature by feature: the same ducts, findings and counts."""
    rng = np.random.default_rng(7)
    shapes = [
        shapely.LineString(np.column_stack((np.arange(4) * 10.0, np.full(4, 20.0 * k), rng.normal(50, 1, 4))))
        for k in range(1100)
    ]
    if kind == "Unknown":
        shapes = [s if k % 2 else shapely.force_2d(s) for k, s in enumerate(shapes)]
        shapes[5] = shapely.Point(3, 100)
        shapes[9] = shapely.MultiLineString([[(0, 180), (10, 180)], [(10, 180), (40, 190)]])
        shapes[11] = shapely.MultiLineString([[(0, 220), (10, 220)]])
    if name != "a.fgb":
        shapes[3] = None
    if name == "a.gpkg":
        shapes[7] = shapely.LineString()
    pyogrio.raw.write(
        tmp_path / name, shapely.to_wkb(np.array(shapes, dtype=object)), [np.arange(len(shapes))], np.array(["no"]),
        geometry_type=kind if kind == "Unknown" or name != "a.gpkg" else "LineString Z", crs="EPSG:32632",
    )  # fmt: skip
    source = gis_open.sources(tmp_path / name, gis_open.reader_for(tmp_path / name)[1])["a"]
    known = gis_open.facts(source)
    assert gis_arrow.usable(known, [])
    fast = gis_open.features(source, [], None, None, known)
    assert fast.plain is not None
    assert (fast.plain.kind >= 0).sum() > 1000
    assert gis_open.features(source, [], "no < 0", None, known).fids.size == 0
    first = raw(tmp_path / name)
    monkeypatch.setattr(gis_arrow, "usable", lambda *_: False)
    second = raw(tmp_path / name)
    assert (first.findings, first.counts) == (second.findings, second.counts)
    assert repr(first.vaults) == repr(second.vaults)  # NaN is not equal to itself
    for key, column in first.lines.arrays().items():
        np.testing.assert_array_equal(column, getattr(second.lines, key))
    slow = gis_open.features(source, [], None, None, known)
    assert slow.plain is None
    np.testing.assert_array_equal(fast.fids, slow.fids)
    np.testing.assert_array_equal(fast.broken, slow.broken)
    kinds = kinds_of(slow)
    np.testing.assert_array_equal(kinds_of(fast), kinds)
    rows = np.flatnonzero((kinds == 1) | (kinds == 5))
    mine, right = parts_of(fast, rows), parts_of(slow, rows)
    np.testing.assert_array_equal(mine.coordinates, right.coordinates)
    np.testing.assert_array_equal(mine.sizes, right.sizes)
    np.testing.assert_array_equal(mine.owner, right.owner)

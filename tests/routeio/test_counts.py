"""Entities read plus entities skipped with a reason are those in the file, counted without our readers."""

import csv
import json
import sqlite3

import ezdxf
import geopandas
import openpyxl
import pyogrio
import pytest
from lxml import etree
from shapely.geometry import GeometryCollection, LineString, MultiLineString, Point

from routeio.options import Selection

X, Y = 500_000.0, 5_400_000.0
LINE = LineString([(X, Y), (X + 100, Y)])
SHAPES = {
    ".gpkg": [LINE, MultiLineString([[(X, Y + 9), (X + 9, Y + 9)], [(X + 20, Y), (X + 50, Y)]]), None, Point(X, Y),
              LineString(), GeometryCollection([Point(X, Y), LINE])],
    ".shp": [LINE, MultiLineString([[(X, Y + 9), (X + 9, Y + 9)], [(X + 20, Y), (X + 50, Y)]]), None],
    ".fgb": [LINE, Point(X, Y), LineString([(X, Y + 5), (X + 5, Y + 5)])],
    ".geojson": [LineString([(9, 48), (9.001, 48)]), Point(9, 48), None, GeometryCollection([Point(9, 48)])],
    ".parquet": [LINE, None, Point(X, Y)],
}  # fmt: skip


def total(read):
    assert all(kind.split()[0] in ("read", "skipped") and n > 0 for kind, n in read.counts.items()), (
        read.counts
    )
    return sum(n for kind, n in read.counts.items() if not kind.endswith("inside blocks"))


def there(path):
    """How many features a layer file holds, by what is not our reader."""
    if path.suffix == ".gpkg":
        with sqlite3.connect(path) as file:
            tables = file.execute(
                "SELECT table_name FROM gpkg_contents WHERE data_type = 'features'"
            ).fetchall()
            return sum(file.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for (name,) in tables)
    if path.suffix == ".geojson":
        return len(json.loads(path.read_text(encoding="utf-8"))["features"])
    if path.suffix == ".parquet":
        return len(geopandas.read_parquet(path))
    return len(pyogrio.read_dataframe(path))


@pytest.mark.parametrize("ending", SHAPES)
@pytest.mark.filterwarnings("ignore")
def test_of_a_layer(ending, tmp_path, raw):
    path = tmp_path / f"ducts{ending}"
    shapes = SHAPES[ending]
    frame = geopandas.GeoDataFrame(
        {"n": range(len(shapes))}, geometry=shapes, crs="EPSG:4326" if ending == ".geojson" else "EPSG:32632"
    )
    if ending == ".parquet":
        pytest.importorskip("pyarrow")
        frame.to_parquet(path)
    else:
        frame.to_file(path, **({"layer": "ducts"} if ending == ".gpkg" else {}))
    if ending == ".gpkg":  # what else is in the file
        frame[:3].to_file(path, layer="trees", mode="a")
    assert there(path) >= len(shapes)
    assert total(raw(path)) == there(path)
    some = raw(path, ducts=Selection("ducts", "n < 1"))
    assert total(some) == there(path)
    assert some.counts["skipped by filter"] == len(shapes) - 1


def test_of_a_drawing(drawing, saved, raw):
    space, duct = drawing.modelspace(), {"layer": "DUCT"}
    drawing.blocks.new("RUN").add_line((0, 0), (5, 0))
    space.add_lwpolyline([(0, 0), (9, 0)], dxfattribs=duct)
    space.add_blockref("RUN", (0, 5), dxfattribs=duct)
    space.add_hatch(dxfattribs=duct)
    space.add_3dface([(0, 0), (1, 0), (1, 1)], dxfattribs=duct)
    space.add_circle((0, 0), 1, dxfattribs=duct)
    space.add_text("5 x PVC", dxfattribs={"layer": "NOTES"})
    drawing.layouts.get("Layout1").add_line((0, 0), (1, 0), dxfattribs=duct)
    path = saved(drawing)
    read = raw(path, ducts="DUCT")
    assert total(read) == sum(len(layout) for layout in ezdxf.readfile(path).layouts)
    assert read.counts["read LINE inside blocks"] == 1


def test_of_an_alignment(tmp_path, raw):
    line = "<Line><Start>0 0</Start><End>0 90</End></Line>"
    kinds = {"Line": 3, "ProfAlign": 2, "CgPoint": 2, "Struct": 1, "Pipe": 1, "Surface": 1}
    path = tmp_path / "route.xml"
    path.write_text(
        '<LandXML version="1.2"><Units><Metric linearUnit="meter"/></Units>'
        f'<Alignments><Alignment name="duct"><CoordGeom>{line}</CoordGeom><Profile><ProfAlign name="a"><PVI>0 1</PVI>'
        '<PVI>90 2</PVI></ProfAlign><ProfAlign name="b"><PVI>0 1</PVI><PVI>90 3</PVI></ProfAlign></Profile></Alignment>'
        f'<Alignment name="road"><CoordGeom>{line}{line}</CoordGeom></Alignment></Alignments><CgPoints><CgPoint>1 1</CgPoint>'
        '<CgPoint>1 2</CgPoint></CgPoints><PipeNetworks><PipeNetwork name="storm"><Structs><Struct name="S"><Center>0 0'
        '</Center></Struct></Structs><Pipes><Pipe name="P" refStart="S" refEnd="T"/></Pipes></PipeNetwork></PipeNetworks>'
        "<Surfaces><Surface/></Surfaces></LandXML>",
        encoding="utf-8",
    )
    tree = etree.parse(path)
    assert {kind: len(tree.findall(f".//{kind}")) for kind in kinds} == kinds
    assert total(raw(path, ducts="duct")) == sum(kinds.values())


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_of_a_schedule(ending, tmp_path, raw):
    rows = [["# spans", "", ""], ["kind", "tag", "length [ft]"], ["vault", "A", ""], ["", "", ""], ["straight", "", "120"],
            ["# past the pole", "", ""], ["vault", "B", ""], ["end", "", ""]]  # fmt: skip
    path = tmp_path / f"span{ending}"
    if ending == ".csv":
        with path.open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows(rows)
    else:
        book = openpyxl.Workbook()
        for row in rows:
            book.active.append([float(cell) if cell.isdigit() else cell or None for cell in row])
        book.create_sheet("notes").append(["who", "when"])
        book.save(path)
    assert total(raw(path)) == len(rows) + (ending == ".xlsx")

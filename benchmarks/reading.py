"""What reading costs beside the bare library, in one run: a drawing and a layer, to raw lines and to a survey.

Run ``python benchmarks/reading.py [polylines] [lines]`` (15000 and 200000 if not said; a polyline has 20 vertices and is
about 1.2 kB of drawing). Each figure is the least CPU time of fresh processes taken in turn, those they start and all
imports included; memory is the greatest of any one process. The bare library reads as it does by default for the drawing,
and as an Arrow table turned into arrays of coordinates for the layer (the target of the readers here is 1.2 and 1.3
times that).
"""

from __future__ import annotations

import math
import os
import sys
import tempfile
from pathlib import Path

import ezdxf
import numpy as np
import pyogrio.raw
import shapely

ROUNDS = 3
START = "import sys\nfrom pathlib import Path\npath = Path(sys.argv[1])\n"
OPTIONS = "from routeio.options import ReadOptions, Selection\noptions = ReadOptions(ducts=Selection('DUCT*'), sweep=3.0)\n"
# The kernel counts the memory of the process that starts another in with it, so it is asked inside.
PEAK = """
import re, resource
own = int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])
print(max(own, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss))
"""
DRAWING = {
    "ezdxf.readfile": "import ezdxf\nezdxf.readfile(path)",
    "the same, no search for garbage": "import gc, ezdxf\ngc.disable()\nezdxf.readfile(path)",
    "raw lines, as the worker reads": f"import gc\ngc.disable()\nfrom routeio import dxf\n{OPTIONS}dxf.read(path, options)",
    "raw lines through the worker": "from routeio.isolation import in_worker\nfrom routeio.limits import Limits\n"
    f"{OPTIONS}in_worker(path, 'dxf', 'read', options, Limits())",
    "cleaned lines": "from routeio.clean import clean\nfrom routeio.isolation import in_worker\n"
    "from routeio.limits import Limits\nfrom routeio.undisturbed import undisturbed\n"
    f"{OPTIONS}with undisturbed():\n    clean(in_worker(path, 'dxf', 'read', options, Limits()), options)",
    "survey: chains of all lines": f"from routeio import read_survey\n{OPTIONS}read_survey(path, options)",
}
LAYER = {
    "pyogrio.raw.read_arrow": "import pyogrio.raw\npyogrio.raw.read_arrow(path, columns=[], return_fids=True)",
    "the same to arrays by shapely": "import pyogrio.raw, shapely\n"
    "_, table = pyogrio.raw.read_arrow(path, columns=[], return_fids=True)\n"
    "shapely.get_coordinates(shapely.from_wkb(table.column(1).to_numpy(zero_copy_only=False)), return_index=True)",
    "the same to arrays by our decoding": "import gc\ngc.disable()\nfrom routeio import gis_arrow\n"
    "gis_arrow.read(path, None, [], None, None)",
    "feature by feature, to arrays": "import pyogrio.raw, shapely\n"
    "_, _, wkb, _ = pyogrio.raw.read(path, columns=[], return_fids=True)\n"
    "shapely.get_coordinates(shapely.from_wkb(wkb), return_index=True)",
    "raw lines, as the worker reads": f"import gc\ngc.disable()\nfrom routeio import gis\n{OPTIONS}gis.read(path, options)",
    "raw lines through the worker": "from routeio.isolation import in_worker\nfrom routeio.limits import Limits\n"
    f"{OPTIONS}in_worker(path, 'gis', 'read', options, Limits())",
}


def drawing(path: Path, count: int) -> None:
    """Light polylines of ten straights and nine tangent arcs each."""
    rng = np.random.default_rng(1)
    document = ezdxf.new("R2013", units=6)
    space = document.modelspace()
    for k in range(count):
        x, y, heading = k % 200 * 400.0, k // 200 * 400.0, 0.0
        points = []
        for leg in range(10):
            points.append((x, y, 0.0))
            length = rng.uniform(10, 30)
            x, y = x + length * math.cos(heading), y + length * math.sin(heading)
            if leg < 9:
                turn, radius = rng.uniform(-0.7, 0.7), rng.uniform(3, 15)
                points.append((x, y, math.tan(turn / 4)))
                chord = 2 * radius * abs(math.sin(turn / 2))
                x, y = x + chord * math.cos(heading + turn / 2), y + chord * math.sin(heading + turn / 2)
                heading += turn
        space.add_lwpolyline([*points, (x, y, 0.0)], format="xyb", dxfattribs={"layer": "DUCT"})
    document.saveas(path)


def layer(path: Path, count: int) -> None:
    """Lines of ten vertices end to end, a thousand in a row."""
    k = np.arange(count)
    start = np.column_stack((k % 1000 * 60.0 + 500_000, k // 1000 * 60.0 + 5_400_000))
    along = np.linspace(0.0, 60.0, 10)
    points = start[:, None, :] + np.column_stack((along, 4.0 * np.sin(along * math.pi / 60.0)))
    names = np.array([f"D{i}" for i in k], dtype=object)
    pyogrio.raw.write(
        path, shapely.to_wkb(shapely.linestrings(points)), [names], np.array(["name"]), layer="ducts",
        geometry_type="LineString", crs="EPSG:32632",
    )  # fmt: skip


def spent(code: str, path: Path) -> tuple[float, float]:
    """CPU seconds of a fresh process and those it starts, and its greatest memory in MB."""
    read, write = os.pipe()
    child = os.posix_spawn(
        sys.executable,
        [sys.executable, "-c", START + code + PEAK, str(path)],
        os.environ,
        file_actions=[(os.POSIX_SPAWN_DUP2, write, 1)],
    )
    os.close(write)
    with os.fdopen(read) as stream:
        said = stream.read()
    _, status, used = os.wait4(child, 0)
    if status:
        sys.exit(f"{code} ended with status {status}")
    return used.ru_utime + used.ru_stime, float(said) / 1024


def table(title: str, ways: dict[str, str], path: Path) -> None:
    """Print the ways side by side, each beside the first."""
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in ways}
    for _ in range(ROUNDS):
        for name, code in ways.items():
            found[name].append(spent(code, path))
    print(f"\n{title}, {path.stat().st_size / 1e6:.1f} MB")
    print(f"  {'':34} {'CPU s':>8} {'ratio':>7} {'MB':>7} {'ratio':>7}")
    first: tuple[float, float] | None = None
    for name, rows in found.items():
        cpu, memory = min(r[0] for r in rows), min(r[1] for r in rows)
        first = first or (cpu, memory)
        print(f"  {name:34} {cpu:8.2f} {cpu / first[0]:7.2f} {memory:7.0f} {memory / first[1]:7.2f}")


def main() -> None:
    """Measure."""
    polylines = int(sys.argv[1]) if len(sys.argv) > 1 else 15_000
    lines = int(sys.argv[2]) if len(sys.argv) > 2 else 200_000
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ducts.dxf"
        drawing(path, polylines)
        table(f"drawing of {polylines} polylines", DRAWING, path)
        path = Path(folder) / "ducts.gpkg"
        layer(path, lines)
        table(f"layer of {lines} lines", LAYER, path)


if __name__ == "__main__":
    main()

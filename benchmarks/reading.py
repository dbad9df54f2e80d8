"""What reading costs beside the bare library, in one run: a drawing and a layer, to raw lines and to a survey.

Run ``python benchmarks/reading.py [polylines] [lines]`` (15000 and 1000000 if not said, several as 15000,78000; a polyline has 20
vertices and is about 1.2 kB of drawing, so that 78000 make 92 MB). Processor time is the least of fresh processes taken in turn, those
they start and all imports included; so is time by the clock, which says little on a machine that does other things besides. Memory is the
greatest of any one process. The bare library reads as it does by default.

The targets: chains of all lines of a drawing in 1.2 times the processor time, and 1.3 times the memory, of the bare library's own read;
a layer to arrays of coordinates in 1.3 times that of the bare library's own read as an Arrow table, which is not yet coordinates. The last
rows say what cannot be had for less: loading the libraries, and filling arrays of that size once.
"""

from __future__ import annotations

import math
import os
import sys
import tempfile
import time
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
    "loading the bare library": "import ezdxf",
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
    "loading the bare library": "import pyogrio.raw, pyarrow",
    "filling such arrays once": "import numpy as np, pyogrio.raw\n"
    "np.empty((pyogrio.read_info(path)['features'] * 10, 3)).fill(1.0)",
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


def spent(code: str, path: Path) -> tuple[float, float, float]:
    """CPU seconds of a fresh process and those it starts, its greatest memory in MB, and seconds by the clock."""
    read, write = os.pipe()
    began = time.monotonic()
    child = os.posix_spawn(
        sys.executable,
        [sys.executable, "-c", START + code + PEAK, str(path)],
        # as the worker has it
        {**os.environ, "NUMPY_MADVISE_HUGEPAGE": "0"},
        file_actions=[(os.POSIX_SPAWN_DUP2, write, 1)],
    )
    os.close(write)
    with os.fdopen(read) as stream:
        said = stream.read()
    _, status, used = os.wait4(child, 0)
    if status:
        sys.exit(f"{code} ended with status {status}")
    return used.ru_utime + used.ru_stime, float(said) / 1024, time.monotonic() - began


def table(title: str, ways: dict[str, str], path: Path) -> None:
    """Print the ways side by side, each beside the first."""
    found: dict[str, list[tuple[float, float, float]]] = {name: [] for name in ways}
    for _ in range(ROUNDS):
        for name, code in ways.items():
            found[name].append(spent(code, path))
    print(f"\n{title}, {path.stat().st_size / 1e6:.1f} MB")
    print(f"  {'':34} {'CPU s':>8} {'ratio':>7} {'MB':>7} {'ratio':>7} {'clock s':>8} {'ratio':>7}")
    first: list[float] = []
    for name, rows in found.items():
        best = [min(column) for column in zip(*rows, strict=True)]
        first = first or best
        cpu, memory, clock = (f"{value / of:7.2f}" for value, of in zip(best, first, strict=True))
        print(f"  {name:34} {best[0]:8.2f} {cpu} {best[1]:7.0f} {memory} {best[2]:8.2f} {clock}")


def main() -> None:
    """Measure."""
    polylines, lines = (sys.argv[1:] + ["15000", "1000000"][len(sys.argv) - 1 :])[:2]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ducts.dxf"
        for count in map(int, polylines.split(",")):
            drawing(path, count)
            table(f"drawing of {count} polylines", DRAWING, path)
        path = Path(folder) / "ducts.gpkg"
        for count in map(int, lines.split(",")):
            path.unlink(missing_ok=True)
            layer(path, count)
            table(f"layer of {count} lines", LAYER, path)


if __name__ == "__main__":
    main()

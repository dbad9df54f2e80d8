"""What the command line costs: ``plan`` on the sample, and ``--help`` against a bare interpreter, in one run.

Run ``python benchmarks/command.py``. Each figure is the median of several fresh processes, taken in turn so that a
busy machine slows all of them alike; memory is the greatest resident set of the process.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

SAMPLES = Path(__file__).resolve().parent.parent / "sample_routes"
QUICK, SLOW = 9, 3


def run(arguments: list[str]) -> tuple[float, float, float]:
    """Return wall-clock seconds, CPU seconds and greatest memory in MB of a fresh process."""
    null = os.open(os.devnull, os.O_WRONLY)
    started = time.perf_counter()
    child = os.posix_spawn(
        sys.executable,
        [sys.executable, *arguments],
        os.environ,
        file_actions=[(os.POSIX_SPAWN_DUP2, null, 1), (os.POSIX_SPAWN_DUP2, null, 2)],
    )
    _, status, used = os.wait4(child, 0)
    took = time.perf_counter() - started
    os.close(null)
    if os.waitstatus_to_exitcode(status) not in (0, 1):
        sys.exit(f"{' '.join(arguments)} ended with status {os.waitstatus_to_exitcode(status)}")
    return took, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def table(title: str, ways: dict[str, list[str]], rounds: int) -> None:
    """Print the ways side by side, each beside the first."""
    found: dict[str, list[tuple[float, float, float]]] = {name: [] for name in ways}
    for _ in range(rounds):
        for name, arguments in ways.items():
            found[name].append(run(arguments))
    print(f"\n{title} (median of {rounds})")
    print(f"  {'':34} {'wall ms':>9} {'CPU ms':>9} {'MB':>7} {'wall ratio':>11}")
    first = None
    for name, rows in found.items():
        wall, cpu, memory = (statistics.median(column) for column in zip(*rows, strict=True))
        first = first or wall
        print(f"  {name:34} {1000 * wall:9.0f} {1000 * cpu:9.0f} {memory:7.0f} {wall / first:11.1f}")


def main() -> None:
    """Measure."""
    cli = ["-c", "from tautline.main import entry; entry()"]
    table(
        "start-up",
        {
            "python -c pass": ["-c", "pass"],
            "python -c 'import argparse'": ["-c", "import argparse"],
            "tautline --help": [*cli, "--help"],
            "python -c 'import numpy'": ["-c", "import numpy"],
            "everything plan needs, imported": ["-c", "import tautline.run, tautline.outputs"],
        },
        QUICK,
    )
    with tempfile.TemporaryDirectory() as folder:
        jobs = {name: str(SAMPLES / f"harbour_{name}.toml") for name in ("dxf", "gis")}
        table(
            "the sample route",
            {
                "everything plan needs, imported": ["-c", "import tautline.run, tautline.outputs"],
                "read the drawing alone": [
                    "-c",
                    "import sys; from tautline.job import read_job; from routeio.read import read_survey; "
                    "job = read_job(sys.argv[1]); read_survey(job.source, job.options)",
                    jobs["dxf"],
                ],
                "plan (DXF)": [*cli, "plan", jobs["dxf"]],
                "plan (GeoPackage)": [*cli, "plan", jobs["gis"]],
                "plan (DXF) with all deliverables": [*cli, "plan", jobs["dxf"], "--out", folder],
                "check (DXF)": [*cli, "check", jobs["dxf"]],
            },
            SLOW,
        )


if __name__ == "__main__":
    main()

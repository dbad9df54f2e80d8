"""The worker: reads one file in a process of its own, within limits, so that a hang or a crash harms nobody.

``python -m routeio.worker`` takes a request as JSON on standard input and answers on standard output as
:mod:`routeio.wire` writes it. :func:`in_worker` is the other end.
"""

from __future__ import annotations

import importlib
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any, BinaryIO, Protocol

from routeio import wire
from routeio.findings import InputRefusedError, Where
from routeio.limits import Limits
from routeio.options import ReadOptions
from routeio.rawlines import RawSurvey

#: Readers by the name :func:`routeio.firstbytes.reader_for` gives; imported in the worker only, they are heavy.
READERS = {"dxf": "routeio.dxf", "gis": "routeio.gis"}
#: What looks into a file without being told anything.
PEEKERS = {"dxf": "routeio.dxf_peek", "gis": "routeio.gis_peek"}
#: Formats that make the library open other files, or go out on the network: never registered in the worker.
DRIVERS_OFF = (
    "VRT,OGR_VRT,GDALG,WFS,OAPIF,OGCAPI,HTTP,CSW,NGW,PLSCENES,AmigoCloud,Carto,Elasticsearch,EEDA,ADBC,GeoRSS,"
    "STACTA,STACIT,MiraMonVector,OGR_PDS,GPSBabel,MVT,PMTiles,TopoJSON,ESRIJSON,GeoJSONSeq,JSONFG,SQLite"
)


class _Reader(Protocol):
    def read(self, path: Path, options: ReadOptions) -> RawSurvey: ...


def in_worker(
    path: Path, reader: str, task: str, options: ReadOptions, limits: Limits
) -> RawSurvey | dict[str, Any]:
    """Have a file read in a process of its own.

    Parameters
    ----------
    path : Path
        The file.
    reader : str
        A key of :data:`READERS`.
    task : {"read", "peek"}
        What to do with it.
    options : ReadOptions
        For the reader.
    limits : Limits
        Time and memory.

    Returns
    -------
    RawSurvey or dict
        What the reader found; for a peek, plain values.

    Raises
    ------
    InputRefusedError
        What the reader raised, or ``reader-timeout``, ``reader-memory``, ``reader-failed``.
    """
    where = Where(file=path.name)
    size = path.stat().st_size
    request = {
        "path": str(path.resolve()),
        "reader": reader,
        "task": task,
        "options": wire.options_to_json(options),
        "cpu_seconds": limits.cpu(size),
        "memory_mb": limits.memory(size),
    }
    too_long = InputRefusedError(
        "reader-timeout",
        f"reading took longer than is right for a file of {size / 1e6:.1f} MB, and was stopped",
        where,
        "audit and save the file again, or allow more time if it is sound",
    )
    try:
        done = subprocess.run(
            [sys.executable, "-m", "routeio.worker"],
            input=json.dumps(request).encode(),
            capture_output=True,
            timeout=limits.wall(size),
            env=_environment(),
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise too_long from error
    if done.returncode == 0:
        return wire.received(done.stdout)
    last_words = done.stderr.decode("utf-8", "replace").strip().splitlines()
    said = last_words[-1][:300] if last_words else f"it ended with status {done.returncode}"
    if -done.returncode in _OUT_OF_TIME:
        raise too_long
    if (
        "MemoryError" in said
        or "bad_alloc" in said
        or "Cannot allocate" in said
        or "ArrayMemoryError" in said
    ):
        raise InputRefusedError(
            "reader-memory",
            f"reading took more than {limits.memory(size):.0f} MB for a file of {size / 1e6:.1f} MB, and was stopped",
            where,
            "audit and save the file again, or allow more memory if it is sound",
        )
    raise InputRefusedError(
        "reader-failed",
        f"the reader could not cope with the file: {said}",
        where,
        "audit and save it again in the program that made it",
    )


#: Signals the system sends when processor time is up: SIGXCPU, and SIGKILL at the hard limit.
_OUT_OF_TIME = (24, 9)


def _environment() -> dict[str, str]:
    """The worker's environment: one thread a library, no drivers that reach beyond the file."""
    return {
        **os.environ,
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
        "GDAL_SKIP": DRIVERS_OFF,
        "GDAL_NUM_THREADS": "1",
        "PYTHONIOENCODING": "utf-8",
        "PYTHONPATH": os.pathsep.join(p for p in sys.path if p),
    }


def answer(request: dict[str, Any], stream: BinaryIO) -> None:
    """Read the file of a request and write what was found, or why it was refused.

    Parameters
    ----------
    request : dict
        As :func:`in_worker` makes it.
    stream : file
        Binary.
    """
    options = wire.options_from_json(request["options"])
    path = Path(request["path"])
    try:
        if request["task"] == "peek":
            wire.send_json("peek", importlib.import_module(PEEKERS[request["reader"]]).peek(path), stream)
        else:
            reader: _Reader = importlib.import_module(READERS[request["reader"]])
            wire.send_survey(reader.read(path, options), stream)
    except InputRefusedError as refusal:
        wire.send_refusal(refusal, stream)


def _limit(cpu_seconds: float, memory_mb: float) -> None:
    """Have the system stop this process when it takes too much; where it cannot, the parent's clock remains."""
    try:
        resource = importlib.import_module("resource")  # not on every system
    except ImportError:
        return
    seconds = max(int(cpu_seconds), 1)
    for kind, soft, hard in (
        (resource.RLIMIT_CPU, seconds, seconds + 2),
        (resource.RLIMIT_AS, int(memory_mb * 1e6), int(memory_mb * 1e6)),
        (resource.RLIMIT_CORE, 0, 0),
    ):
        _, most = resource.getrlimit(kind)
        if most != resource.RLIM_INFINITY:
            soft, hard = min(soft, most), min(hard, most)
        resource.setrlimit(kind, (soft, hard))


def main() -> None:
    """Answer the one request on standard input."""
    request = json.loads(sys.stdin.buffer.read())
    _limit(request["cpu_seconds"], request["memory_mb"])
    # whatever a library prints must not get into the answer
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    answer(request, out)
    out.close()


if __name__ == "__main__":
    main()

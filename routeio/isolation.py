"""Isolation: a file read in a process of its own, within limits, so that a hang or a crash harms nobody."""

from __future__ import annotations

import json
import mmap
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any, BinaryIO, cast

from routeio import wire
from routeio.findings import InputRefusedError, Where
from routeio.limits import Limits
from routeio.options import ReadOptions
from routeio.rawlines import RawSurvey

#: Formats that make the library open other files, or go out on the network: never registered in the worker.
DRIVERS_OFF = (
    "VRT,OGR_VRT,GDALG,WFS,OAPIF,OGCAPI,HTTP,CSW,NGW,PLSCENES,AmigoCloud,Carto,Elasticsearch,EEDA,ADBC,GeoRSS,"
    "STACTA,STACIT,MiraMonVector,OGR_PDS,GPSBabel,MVT,PMTiles,TopoJSON,ESRIJSON,GeoJSONSeq,JSONFG,SQLite"
)
#: The signal the system sends when processor time is up (SIGXCPU), and the one it kills with.
_OUT_OF_TIME, _KILLED = 24, 9
#: Last words of a process that asked for more memory than it was allowed.
_OUT_OF_MEMORY = ("MemoryError", "bad_alloc", "Cannot allocate", "out of memory", "File too large")


def in_worker(
    path: Path, reader: str, task: str, options: ReadOptions, limits: Limits
) -> RawSurvey | dict[str, Any]:
    """Have a file read in a process of its own.

    Parameters
    ----------
    path : Path
        The file.
    reader : str
        A key of :data:`routeio.worker.READERS`.
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
    request = {"task": task, "options": wire.options_to_json(options)}
    return wire.received(answered(["routeio.worker", reader], request, path, limits))


def answered(module: list[str], request: dict[str, Any], path: Path, limits: Limits) -> bytes | mmap.mmap:
    """Return what a module answers that is run in a process of its own.

    Parameters
    ----------
    module : list of str
        Its name and its arguments.
    request : dict
        Of what JSON knows; the path and the limits are added to it.
    path : Path
        The file it reads.
    limits : Limits
        Time and memory.

    Returns
    -------
    bytes or mmap
        For :mod:`routeio.wire`: the memory that the other process wrote to, without a copy.

    Raises
    ------
    InputRefusedError
        ``reader-timeout``, ``reader-memory``, ``reader-failed``.
    """
    where = Where(file=path.name)
    size = path.stat().st_size
    request = {
        "path": str(path.absolute()),
        **request,
        "cpu_seconds": limits.cpu(size),
        "memory_mb": limits.memory(size),
    }
    too_long = InputRefusedError(
        "reader-timeout",
        f"reading took longer than is right for a file of {size / 1e6:.1f} MB, and was stopped",
        where,
        "audit and save the file again, or allow more time if it is sound",
    )
    with _blank() as answer:
        try:
            done = subprocess.run(
                [sys.executable, "-P", "-m", *module],
                input=json.dumps(request).encode(),
                stdout=answer,
                stderr=subprocess.PIPE,
                timeout=limits.wall(size),
                env=_environment(),
                check=False,
            )
        except subprocess.TimeoutExpired as error:
            raise too_long from error
        if done.returncode == 0:
            length = os.fstat(answer.fileno()).st_size
            return mmap.mmap(answer.fileno(), length, access=mmap.ACCESS_READ) if length else b""
    last_words = done.stderr.decode("utf-8", "replace").strip().splitlines()
    said = last_words[-1][:300] if last_words else f"it ended with status {done.returncode}"
    if -done.returncode == _OUT_OF_TIME:
        raise too_long
    if -done.returncode == _KILLED or any(word in said for word in _OUT_OF_MEMORY):
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


def _blank() -> BinaryIO:
    """Return a file without a name, in memory where the system has such files."""
    if sys.platform == "linux":
        return os.fdopen(os.memfd_create("answer"), "w+b")
    return cast(BinaryIO, tempfile.TemporaryFile())


def _environment() -> dict[str, str]:
    """The worker's environment: one thread a library, no drivers that reach beyond the file."""
    return {
        **os.environ,
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
        "GDAL_SKIP": DRIVERS_OFF,
        "GDAL_NUM_THREADS": "1",
        # pages as they are needed: where memory is short, or the machine a guest, large ones are dear
        "NUMPY_MADVISE_HUGEPAGE": "0",
        # how long to wait for another program to let go of a GeoPackage [ms]
        "SQLITE_BUSY_TIMEOUT": "1000",
        "PYTHONIOENCODING": "utf-8",
        "PYTHONPATH": os.pathsep.join(p for p in sys.path if p),
    }

"""The worker: the process that reads a file, limited by the system in what it may take.

``python -m routeio.worker dxf`` (or another of :data:`READERS`) takes a request as JSON on standard input and answers
on standard output as :mod:`routeio.wire` writes it. :mod:`routeio.isolation` is the other end.
"""

from __future__ import annotations

import gc
import importlib
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO

from routeio import wire
from routeio.findings import InputRefusedError
from routeio.options import ReadOptions
from routeio.rawlines import RawSurvey

try:
    import resource
except ImportError:  # not on every system: the parent's clock remains
    resource = None  # type: ignore[assignment]

#: By the name :func:`routeio.firstbytes.reader_for` gives: the modules that read a file and that peek into it. They
#: are heavy, and imported in this process only.
READERS = {
    "dxf": ("routeio.dxf", "routeio.dxf_peek"),
    "gis": ("routeio.gis", "routeio.gis_peek"),
    "landxml": ("routeio.landxml", "routeio.landxml_peek"),
    "table": ("routeio.table", "routeio.table_peek"),
}


Read = Callable[[Path, ReadOptions], RawSurvey]
Peek = Callable[[Path], dict[str, Any]]


def answer(request: dict[str, Any], read: Read, peek: Peek, stream: BinaryIO) -> None:
    """Read the file of a request and write what was found, or why it was refused.

    Parameters
    ----------
    request : dict
        As :func:`routeio.isolation.in_worker` makes it.
    read : callable
        For the task ``read``: from path and options to a raw survey.
    peek : callable
        For the task ``peek``: from path to plain values.
    stream : file
        Binary.
    """
    path = Path(request["path"])
    try:
        if request["task"] == "peek":
            wire.send_json("peek", peek(path), stream)
        else:
            wire.send_survey(read(path, wire.options_from_json(request["options"])), stream)
    except InputRefusedError as refusal:
        wire.send_refusal(refusal, stream)


def limit(cpu_seconds: float, memory_mb: float) -> None:
    """Have the system stop this process when it takes too much.

    Parameters
    ----------
    cpu_seconds : float
        Processor time. [s]
    memory_mb : float
        Address space, and what it may write. [MB]
    """
    if resource is None:
        return
    seconds, memory = max(int(cpu_seconds), 1), int(memory_mb * 1e6)
    for kind, soft, hard in (
        (resource.RLIMIT_CPU, seconds, seconds + 2),
        (resource.RLIMIT_AS, memory, memory),
        (resource.RLIMIT_FSIZE, memory, memory),  # the answer
        (resource.RLIMIT_CORE, 0, 0),
    ):
        _, most = resource.getrlimit(kind)
        if most != resource.RLIM_INFINITY:
            soft, hard = min(soft, most), min(hard, most)
        resource.setrlimit(kind, (soft, hard))


def main(read: Read, peek: Peek) -> None:
    """Answer the one request on standard input.

    Parameters
    ----------
    read, peek : callable
        As for :func:`answer`.
    """
    # this process reads one file and ends: looking for rings of garbage costs a fifth of the reading and finds none
    gc.disable()
    serve(lambda request, stream: answer(request, read, peek, stream))


def serve(answering: Callable[[dict[str, Any], BinaryIO], None]) -> None:
    """Take the one request on standard input, keep within its limits, and answer on standard output.

    Parameters
    ----------
    answering : callable
        Given the request and the stream to answer on.
    """
    request = json.loads(sys.stdin.buffer.read())
    limit(request["cpu_seconds"], request["memory_mb"])
    # whatever a library prints must not get into the answer
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    answering(request, out)
    out.close()


if __name__ == "__main__":
    _reads, _peeks = READERS[sys.argv[1]]
    main(importlib.import_module(_reads).read, importlib.import_module(_peeks).peek)

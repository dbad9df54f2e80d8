"""The worker: the process that reads a file, limited by the system in what it may take.

``python -m routeio.worker`` takes a request as JSON on standard input and answers on standard output as
:mod:`routeio.wire` writes it. :mod:`routeio.isolation` is the other end.
"""

from __future__ import annotations

import importlib
import json
import os
import sys
from pathlib import Path
from typing import Any, BinaryIO, Protocol

from routeio import wire
from routeio.findings import InputRefusedError
from routeio.options import ReadOptions
from routeio.rawlines import RawSurvey

#: Readers by the name :func:`routeio.firstbytes.reader_for` gives; imported only where they are used, being heavy.
READERS = {"dxf": "routeio.dxf", "gis": "routeio.gis"}
#: What looks into a file without being told anything.
PEEKERS = {"dxf": "routeio.dxf_peek", "gis": "routeio.gis_peek"}


class _Reader(Protocol):
    def read(self, path: Path, options: ReadOptions) -> RawSurvey: ...


def answer(request: dict[str, Any], stream: BinaryIO) -> None:
    """Read the file of a request and write what was found, or why it was refused.

    Parameters
    ----------
    request : dict
        As :func:`routeio.isolation.in_worker` makes it.
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

"""A layer of zones, read in a process of its own: its polygons and the system they are in.

``python -m routeio.zone_layer`` takes a request as JSON on standard input and answers as :mod:`routeio.wire` writes.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pyogrio
import pyogrio.raw

from routeio import wire
from routeio.findings import InputRefusedError, Where
from routeio.gis_open import LIBRARY_ERRORS
from routeio.worker import serve


def answer(request: dict[str, Any], stream: BinaryIO) -> None:
    """Answer one request.

    Parameters
    ----------
    request : dict
        ``path`` and ``layer``, a name or None for the only one.
    stream : file
        Binary.
    """
    path = Path(request["path"])
    try:
        wire.send_arrays("zones", *_read(path, request["layer"]), stream)
    except InputRefusedError as known:
        wire.send_refusal(known, stream)
    except LIBRARY_ERRORS as error:
        told = " ".join(str(error).split())[:200]
        refusal = InputRefusedError(
            "zones-unreadable", f"the zones cannot be read: {told}", Where(file=path.name),
            "save them again as GeoPackage",
        )  # fmt: skip
        wire.send_refusal(refusal, stream)


def _read(path: Path, layer: str | None) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    names = [str(row[0]) for row in pyogrio.list_layers(path)]
    if layer is None and len(names) > 1:
        raise InputRefusedError(
            "missing-layer", f"{path.name} has {len(names)} layers, and which of them holds the zones is not stated",
            Where(file=path.name), f"state layer; there are {', '.join(names)}",
        )  # fmt: skip
    if layer is not None and layer not in names:
        raise InputRefusedError(
            "missing-layer", f"there is no layer {layer!r} of zones", Where(file=path.name, layer=layer),
            f"there are {', '.join(names) or 'none'}",
        )  # fmt: skip
    meta, fids, geometry, _ = pyogrio.raw.read(path, layer=layer, columns=[], return_fids=True)
    shapes = [b"" if g is None else bytes(g) for g in geometry]
    facts = {"crs": meta["crs"], "sizes": [len(s) for s in shapes], "ids": [str(f) for f in fids]}
    return facts, {"wkb": np.frombuffer(b"".join(shapes), dtype=np.uint8)}


if __name__ == "__main__":
    serve(answer)

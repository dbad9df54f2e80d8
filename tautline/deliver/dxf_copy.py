"""The annotated copy of the input drawing: read again in a process of its own that a bad drawing cannot hang.

``python -m tautline.deliver.dxf_copy`` takes a request as JSON on standard input; :func:`annotate` is the other end.
"""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from routeio.findings import InputRefusedError
from routeio.limits import Limits
from routeio.options import ReadOptions
from routeio.worker import limit
from tautline.deliver.atomic import replacing
from tautline.deliver.dxf import Box, draw_on, save, unit_box
from tautline.deliver.frame import Document
from tautline.errors import OutputError, ResultError

if TYPE_CHECKING:
    from ezdxf.document import Drawing

# What the child ends with when the drawing, and when the disk, is to blame.
_REFUSED, _UNWRITTEN = 3, 4
# The copy is read, measured, drawn on and written, where a reader only reads.
_WORK = 3.0
_OUT_OF_TIME = -24  # SIGXCPU


def annotate(document: Document, source: Path, path: Path, limits: Limits | None = None) -> None:
    """Write a copy of the input drawing with the result on layers of our own.

    Parameters
    ----------
    document : mapping
        A result document, valid against the schema.
    source : Path
        The drawing that the result was made from. It is only read.
    path : Path
        The copy, replaced whole.
    limits : Limits, optional
        Time and memory that reading such a drawing may take; three times as much is allowed here.

    Raises
    ------
    ResultError
        ``source`` is not the drawing that the result was made from, or cannot be read as DXF within the limits.
    OutputError
        The file could not be written.
    """
    allowed = limits or Limits()
    try:
        with source.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
        size = source.stat().st_size
    except OSError as error:
        raise ResultError(
            f"cannot read {source}: {error.strerror}; name the drawing of the result"
        ) from error
    if digest != document["source"]["sha256"]:
        raise ResultError(
            f"{source} is not the drawing that this result was made from (its sha256 differs); plan it anew"
        )
    too_long = f"{source} takes longer to copy than is right for its size, and was given up"
    size += len(json.dumps(document))
    with replacing(path) as draft:
        request = {
            "document": document,
            "source": str(source.absolute()),
            "draft": str(draft.absolute()),
            "cpu_seconds": _WORK * allowed.cpu(size),
            "memory_mb": _WORK * allowed.memory(size),
        }
        try:
            done = subprocess.run(
                [sys.executable, "-P", "-m", "tautline.deliver.dxf_copy"],
                input=json.dumps(request).encode(),
                capture_output=True,
                timeout=_WORK * allowed.wall(size),
                env={**os.environ, "PYTHONIOENCODING": "utf-8", "PYTHONPATH": _path()},
                check=False,
            )
        except subprocess.TimeoutExpired as error:
            raise ResultError(too_long) from error
        if done.returncode == _OUT_OF_TIME:
            raise ResultError(too_long)
        if done.returncode:
            lines = done.stderr.decode("utf-8", "replace").strip().splitlines()
            said = lines[-1][:300] if lines else f"it ended with status {done.returncode}"
            if done.returncode == _UNWRITTEN:
                raise OutputError(path, f"{said}: make room or choose another place")
            raise ResultError(f"{source} cannot be copied: {said}")


def annotated(document: Document, source: Path) -> Drawing:
    """Return a drawing as read from a file, with the result drawn on it.

    Parameters
    ----------
    document : mapping
        A result document, valid against the schema.
    source : Path
        The drawing that the result was made from.

    Returns
    -------
    ezdxf.document.Drawing
        In its own version, but at least R2000, which has all that is drawn.

    Raises
    ------
    ResultError
        It cannot be read, or the route lies elsewhere than what is drawn on it.
    """
    import ezdxf.bbox

    from routeio.dxf_open import open_drawing

    try:
        drawing = open_drawing(source, ReadOptions()).drawing
    except InputRefusedError:
        try:
            drawing = open_drawing(source, ReadOptions(recover=True)).drawing
        except InputRefusedError as error:
            raise ResultError(str(error)) from error
    if drawing.dxfversion < "AC1015":
        drawing.dxfversion = "AC1015"  # older ones have no light polylines: the pulls would be lost
    found = ezdxf.bbox.extents(drawing.modelspace(), fast=True)
    held = (*found.extmin.vec2, *found.extmax.vec2) if found.has_data else None
    route = unit_box(document)
    if held is None or not _within(route, held):
        raise ResultError(
            "the route does not lie where things are drawn on it; was it moved to other coordinates?"
        )
    draw_on(document, drawing, held)
    return drawing


def _within(inner: Box, outer: Box) -> bool:
    """Whether a box lies in another, with room for arcs and for vaults beside the ducts."""
    room = 0.1 * max(inner[2] - inner[0], inner[3] - inner[1], 1.0)
    return (
        outer[0] - room <= inner[0]
        and outer[1] - room <= inner[1]
        and inner[2] <= outer[2] + room
        and inner[3] <= outer[3] + room
    )


def _path() -> str:
    return os.pathsep.join(p for p in sys.path if p)


def _copy(request: dict[str, Any]) -> int:
    """Carry out one request; what went wrong is the last line on standard error."""
    try:
        drawing = annotated(request["document"], Path(request["source"]))
    except ResultError as error:
        sys.stderr.write(" ".join(str(error).split()) + "\n")
        return _REFUSED
    try:
        save(drawing, Path(request["draft"]))
    except OSError as error:
        sys.stderr.write(f"{error.strerror or error}\n")
        return _UNWRITTEN
    return 0


def main() -> int:
    """Answer the one request on standard input.

    Returns
    -------
    int
        Status to end with.
    """
    request = json.loads(sys.stdin.buffer.read())
    limit(request["cpu_seconds"], request["memory_mb"])
    return _copy(request)


if __name__ == "__main__":
    sys.exit(main())

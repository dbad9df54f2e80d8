"""Setting a page with typst from its wheel: no program to install, nothing fetched."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any


def typeset(source: bytes, data: Mapping[str, Any], kind: str, ppi: float = 144.0) -> bytes:
    """Set a source that reads its texts from ``data.json``.

    Parameters
    ----------
    source : bytes
        What typst is to set, in UTF-8.
    data : mapping
        Strings, numbers and lists. A string stays text there, whatever is in it.
    kind : str
        ``pdf``, or ``png`` for a single page.
    ppi : float, optional
        Pixels an inch of a picture.

    Returns
    -------
    bytes
        The file.
    """
    import typst

    compiler: Any = typst.compile  # its own types leave out that a source may come with its files
    # no time of day in it: the same data always give the same file
    made: bytes = compiler(
        {"main": source, "data.json": json.dumps(data).encode()}, format=kind, ppi=ppi, timestamp=0
    )
    return made

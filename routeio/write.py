"""Writing a survey: its ducts, segments and vaults as a drawing or a GeoPackage of its own, never into an input.

A drawing has the arcs as arcs, in the unit of the source; a GeoPackage has lines whose chords lie within a stated distance
of the curves. In both, the four numbers of every segment stand beside the geometry, and :func:`read_chains` reads them
back: what a drawing or a layer cannot say (an arc on a grade) is not lost on the way.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType

from mechanics.chain import Chain
from mechanics.errors import in_range
from routeio import write_dxf, write_gpkg
from routeio.survey import Survey

#: How far a chord may lie from its curve, unless stated. [m]
CHORD = 0.001

Write = Callable[[Survey, Path, float], None]
#: By the ending of the file.
WRITERS: Mapping[str, Write] = MappingProxyType({".dxf": write_dxf.write, ".gpkg": write_gpkg.write})


def write_survey(survey: Survey, path: str | Path, chord: float = CHORD) -> None:
    """Write a survey to a new file, whole or not at all.

    Parameters
    ----------
    survey : Survey
        As read.
    path : str or Path
        A new file ending in ``.dxf`` or ``.gpkg``.
    chord : float, optional
        How far a chord may lie from its curve where the format has no curves, above 0. [m]

    Raises
    ------
    DomainError
        ``chord`` is not above 0.
    FileExistsError
        There is such a file: nothing is ever written into one, least of all an input.
    ValueError
        Another ending.
    OSError
        The file cannot be written.
    """
    path = Path(path)
    in_range("chord", chord, above=0.0)
    writer = WRITERS.get(path.suffix.lower())
    if writer is None:
        raise ValueError(f"{path.name} must end in one of {', '.join(WRITERS)}")
    if path.exists():
        raise FileExistsError(f"{path} is there already; only new files are written")
    with tempfile.TemporaryDirectory(prefix=f".{path.name[:40]}.", dir=path.parent) as folder:
        draft = Path(folder) / path.name
        writer(survey, draft, chord)
        os.replace(draft, path)


def read_chains(path: str | Path) -> dict[str, Chain]:
    """Return the chains that stand in a file of :func:`write_survey`, from the numbers beside its geometry.

    Parameters
    ----------
    path : str or Path
        The file; nothing else reads these numbers, and whoever moves a line in it has to delete them.

    Returns
    -------
    dict of str to Chain
        By the duct's id.

    Raises
    ------
    ValueError
        The file holds none.
    """
    path = Path(path)
    found = write_dxf.chains(path) if path.suffix.lower() == ".dxf" else write_gpkg.chains(path)
    if not found:
        raise ValueError(f"{path.name} holds no segments beside its geometry")
    return found

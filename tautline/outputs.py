"""What ``--out`` writes: the result document and every deliverable made from it, never into an input."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from tautline.deliver import dxf, gis, html
from tautline.deliver.atomic import write_text
from tautline.document import as_text
from tautline.errors import OutputError

Writer = Callable[[Mapping[str, Any], Path], None]


def _json(document: Mapping[str, Any], path: Path) -> None:
    write_text(path, as_text(dict(document)))


# In the order of writing: the document first, since the others can be made again from it.
OUTPUTS: Mapping[str, Writer] = {
    "result.json": _json,
    "result.gpkg": gis.write,
    "result.dxf": dxf.write,
    "result.html": html.write,
}


def write_outputs(
    document: Mapping[str, Any],
    folder: Path,
    inputs: Iterable[Path] = (),
    say: Callable[[str], None] | None = None,
    names: Iterable[str] = tuple(OUTPUTS),
) -> list[Path]:
    """Write the deliverables of a result document into a folder.

    Parameters
    ----------
    document : mapping
        A result document.
    folder : Path
        Made where it is not there.
    inputs : iterable of Path, optional
        Files that must not be written to.
    say : callable, optional
        Told in a few words what is being done.
    names : iterable of str, optional
        Which of :data:`OUTPUTS`.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    OutputError
        A file would take the place of an input (then none is written), or could not be written (then an older
        one in its place is whole).
    """
    kept = list(inputs)
    paths = {name: folder / name for name in names}
    for path in paths.values():
        if any(_same(path, other) for other in kept):
            raise OutputError(path, "it is an input of this run; give another folder with --out")
    for name, path in paths.items():
        if say is not None:
            say(f"writing {path}")
        OUTPUTS[name](document, path)
    return list(paths.values())


def write_new(path: Path, text: str) -> None:
    """Write a text file that must not be there yet.

    Parameters
    ----------
    path : Path
        Where.
    text : str
        What; in UTF-8.

    Raises
    ------
    OutputError
        It is there already, or could not be written.
    """
    try:
        # opened with "x", so that a file that appears at this very moment is not overwritten either
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as error:
        raise OutputError(path, "it is there already; move it away or name another with --job") from error
    except OSError as error:
        raise OutputError(path, f"{error.strerror or error}; name another place with --job") from error


def _same(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:  # one of them is not there
        return one.resolve() == other.resolve()

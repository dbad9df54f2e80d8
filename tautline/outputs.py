"""What ``--out`` writes: the result document and every deliverable made from it, never into an input."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from routeio.findings import InputRefusedError
from routeio.firstbytes import reader_for
from tautline.deliver import dxf, dxf_copy, gis, html, pdf, picture, tables, workbook
from tautline.deliver.atomic import write_text
from tautline.document import Document, as_text
from tautline.errors import OutputError, ResultError, UsageError
from tautline.job_table import nearest


@dataclass(frozen=True)
class Deliverable:
    """One thing that is handed over.

    Parameters
    ----------
    place : str
        File, or folder of several files, within the output folder.
    write : callable
        Writes it from a document to a path, whole or not at all.
    folder : bool
        Whether it is several files in a folder.
    """

    place: str
    write: Callable[[Document, Path], object]
    folder: bool = False


def _json(document: Document, path: Path) -> None:
    write_text(path, as_text(document))


# In the order of writing: the document first, since the others can be made again from it.
DELIVERABLES: Mapping[str, Deliverable] = {
    "json": Deliverable("result.json", _json),
    "html": Deliverable("result.html", html.write),
    "gpkg": Deliverable("result.gpkg", gis.write),
    "dxf": Deliverable("result.dxf", dxf.write),
    "xlsx": Deliverable("result.xlsx", workbook.write),
    "csv": Deliverable("tables", tables.write_csv, folder=True),
    "pdf": Deliverable("report.pdf", pdf.write_report),
    "crew": Deliverable("crew.pdf", pdf.write_crew),
    "svg": Deliverable("result.svg", picture.write),
    "drawing": Deliverable("drawing.dxf", dxf.write),
}
COPY, OWN = "drawing", "dxf"
"""The one that needs more than the document, a copy of the input drawing with the result on it; and the one that does not."""


def chosen(only: str | None, drawing: Path | None = None) -> tuple[str, ...]:
    """Return the names of the deliverables that a person picks.

    Parameters
    ----------
    only : str or None
        Names with commas between; None: all that can be made.
    drawing : Path, optional
        The drawing that the result was made from, where there is one.

    Returns
    -------
    tuple of str
        Keys of :data:`DELIVERABLES`, in their order. Without a drawing to copy, a drawing of our own stands in for
        its annotated copy.

    Raises
    ------
    UsageError
        A name that is none of them.
    """
    if only is None:
        return tuple(name for name in DELIVERABLES if name != COPY or drawing is not None)
    names = [name.strip() for name in only.split(",")]
    for name in names:
        if name not in DELIVERABLES:
            known = ", ".join(DELIVERABLES)
            raise UsageError(f'--only names "{name}"{nearest(name, list(DELIVERABLES))}; there are {known}')
    if drawing is None:
        names = [OWN if name == COPY else name for name in names]
    return tuple(name for name in DELIVERABLES if name in names)


def is_drawing(path: Path) -> bool:
    """Say whether a file is a DXF drawing, by its name and first bytes.

    Parameters
    ----------
    path : Path
        Any file, there or not.

    Returns
    -------
    bool
        False for a layer of a GIS, and for what no reader takes.
    """
    try:
        return reader_for(path)[0] == "dxf"
    except (InputRefusedError, OSError):
        return False


def write_outputs(
    document: Document,
    folder: Path,
    inputs: Iterable[Path] = (),
    say: Callable[[str], None] | None = None,
    names: Sequence[str] | None = None,
    drawing: Path | None = None,
    warn: Callable[[str], None] | None = None,
) -> list[Path]:
    """Write deliverables of a result document into a folder.

    Parameters
    ----------
    document : dict
        A result document.
    folder : Path
        Made where it is not there.
    inputs : iterable of Path, optional
        Files that must not be written to.
    say : callable, optional
        Told in a few words what is being done.
    names : sequence of str, optional
        Which of :data:`DELIVERABLES`; all that can be made where not given.
    drawing : Path, optional
        The drawing that the result was made from; needed for its annotated copy.
    warn : callable, optional
        Told when the drawing cannot be copied, and everything else is written; without it that is an error.

    Returns
    -------
    list of Path
        The files and folders written.

    Raises
    ------
    OutputError
        A file would take the place of an input (then none is written), or could not be written (then an older
        one in its place is whole).
    ResultError
        The drawing is not that of the result, or cannot be copied.
    """
    names = chosen(None, drawing) if names is None else names
    wanted = [DELIVERABLES[name] for name in names]
    paths = [folder / deliverable.place for deliverable in wanted]
    for path, deliverable in zip(paths, wanted, strict=True):
        for kept in inputs:
            if _same(path, kept.parent if deliverable.folder else kept):
                raise OutputError(path, "it holds an input of this run; give another folder with --out")
    written = []
    for name, path, deliverable in zip(names, paths, wanted, strict=True):
        if say is not None:
            say(f"writing {path}")
        if name == COPY and drawing is not None:
            try:
                dxf_copy.annotate(document, drawing, path)
            except ResultError as error:
                if warn is None:
                    raise
                warn(f"no annotated copy of the drawing: {error}")
                continue
        else:
            deliverable.write(document, path)
        written.append(path)
    return written


def write_picture(document: Document, path: Path, inputs: Iterable[Path] = ()) -> None:
    """Write plan and profile as one picture.

    Parameters
    ----------
    document : dict
        A result document.
    path : Path
        The file; ``.svg`` or ``.png``.
    inputs : iterable of Path, optional
        Files that must not be written to.

    Raises
    ------
    OutputError
        It would take the place of an input, or could not be written.
    """
    if any(_same(path, kept) for kept in inputs):
        raise OutputError(path, "it is an input of this run; name another file")
    picture.write(document, path)


def write_new(path: Path, content: str | bytes, option: str = "--job") -> None:
    """Write a file that must not be there yet.

    Parameters
    ----------
    path : Path
        Where.
    content : str or bytes
        What; text in UTF-8.
    option : str, optional
        With which the user names another place.

    Raises
    ------
    OutputError
        It is there already, or could not be written.
    """
    try:
        # opened with "x", so that a file that appears at this very moment is not overwritten either
        with path.open("xb") as file:
            file.write(content.encode("utf-8") if isinstance(content, str) else content)
    except FileExistsError as error:
        raise OutputError(path, f"it is there already; move it away or name another with {option}") from error
    except OSError as error:
        raise OutputError(path, f"{error.strerror or error}; name another place with {option}") from error


def _same(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:  # one of them is not there
        return one.resolve() == other.resolve()

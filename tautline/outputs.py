"""What ``--out`` writes: the result document and every deliverable made from it, never into an input."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tautline.deliver import dxf, gis, html, pdf, picture, tables
from tautline.deliver.atomic import write_text
from tautline.document import Document, as_text
from tautline.errors import OutputError, UsageError
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
    "xlsx": Deliverable("result.xlsx", tables.write),
    "csv": Deliverable("tables", tables.write_csv, folder=True),
    "pdf": Deliverable("report.pdf", pdf.write_report),
    "crew": Deliverable("crew.pdf", pdf.write_crew),
    "svg": Deliverable("result.svg", picture.write),
}


def chosen(only: str | None) -> tuple[str, ...]:
    """Return the names of the deliverables that a person picks.

    Parameters
    ----------
    only : str or None
        Names with commas between; None: all.

    Returns
    -------
    tuple of str
        Keys of :data:`DELIVERABLES`, in their order.

    Raises
    ------
    UsageError
        A name that is none of them.
    """
    if only is None:
        return tuple(DELIVERABLES)
    names = [name.strip() for name in only.split(",")]
    for name in names:
        if name not in DELIVERABLES:
            known = ", ".join(DELIVERABLES)
            raise UsageError(f'--only names "{name}"{nearest(name, list(DELIVERABLES))}; there are {known}')
    return tuple(name for name in DELIVERABLES if name in names)


def write_outputs(
    document: Document,
    folder: Path,
    inputs: Iterable[Path] = (),
    say: Callable[[str], None] | None = None,
    names: Sequence[str] = tuple(DELIVERABLES),
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
        Which of :data:`DELIVERABLES`.

    Returns
    -------
    list of Path
        The files and folders written.

    Raises
    ------
    OutputError
        A file would take the place of an input (then none is written), or could not be written (then an older
        one in its place is whole).
    """
    wanted = [DELIVERABLES[name] for name in names]
    paths = [folder / deliverable.place for deliverable in wanted]
    for path, deliverable in zip(paths, wanted, strict=True):
        for kept in inputs:
            if _same(path, kept.parent if deliverable.folder else kept):
                raise OutputError(path, "it holds an input of this run; give another folder with --out")
    for path, deliverable in zip(paths, wanted, strict=True):
        if say is not None:
            say(f"writing {path}")
        deliverable.write(document, path)
    return paths


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

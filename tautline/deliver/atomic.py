"""Writing an output so that a reader finds the old file or the new one whole, whenever the program is stopped."""

from __future__ import annotations

import os
import re
import tempfile
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tautline.errors import OutputError


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Give a temporary path beside ``path``; on leaving without an error, put what was written there in its place.

    Parameters
    ----------
    path : Path
        The output. Its folder is made where there is none.

    Yields
    ------
    Path
        Where to write; it does not exist yet, and ends in the same suffix.

    Raises
    ------
    OutputError
        The output could not be written, naming it and what to do.
    """
    path = Path(path)
    folder: Path | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        folder = Path(tempfile.mkdtemp(prefix=f".{path.name[:40]}.", dir=path.parent))
        draft = folder / path.name
        yield draft
        with draft.open("rb+") as written:
            os.fsync(written.fileno())
        os.replace(draft, path)
    except OutputError:
        raise
    except OSError as error:
        raise OutputError(path, _advice(error)) from error
    finally:
        if folder is not None:
            for left in folder.glob("*"):
                left.unlink(missing_ok=True)
            folder.rmdir()


def write_text(path: Path, text: str) -> None:
    """Write a text file whole or not at all, in UTF-8 with plain line ends.

    Parameters
    ----------
    path : Path
        The output.
    text : str
        What it is to hold.

    Raises
    ------
    OutputError
        The output could not be written.
    """
    with replacing(path) as draft:
        draft.write_text(text, encoding="utf-8", newline="\n")


def slug(name: str, limit: int = 60) -> str:
    """Return a name from a file as one that is safe for a file of ours.

    Parameters
    ----------
    name : str
        Any text.
    limit : int, optional
        Longest result.

    Returns
    -------
    str
        Letters, digits, ``-`` and ``_``; never empty, never a folder, never a name that a system keeps for a device.

    Examples
    --------
    >>> slug("../../Harbour feeder"), slug(".."), slug("con")
    ('Harbour-feeder', 'unnamed', 'con_')
    """
    folded = unicodedata.normalize("NFC", name)
    safe = re.sub(r"[^\w]+", "-", folded).strip("-_")[:limit].strip("-_")
    if re.fullmatch(r"(?i)con|prn|aux|nul|com\d|lpt\d", safe):
        return safe + "_"
    return safe or "unnamed"


def _advice(error: OSError) -> str:
    if isinstance(error, PermissionError):
        return "no permission, or the file is open in another program: close it there or choose another --out"
    if isinstance(error, (NotADirectoryError, FileExistsError)):
        return "part of the path is a file and not a folder: choose another --out"
    if isinstance(error, IsADirectoryError):
        return "a folder of that name is in the way: choose another --out"
    reason = error.strerror or str(error)
    return f"{reason}: make room or choose another --out"

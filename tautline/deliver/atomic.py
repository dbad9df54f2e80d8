"""Writing an output so that a reader finds the old one or the new one whole, whenever the program is stopped.

What is being written lies in a hidden folder beside the output. A program that is killed leaves that folder behind; the
next one that writes the same output removes it.
"""

from __future__ import annotations

import ctypes
import os
import platform
import re
import shutil
import sys
import tempfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tautline.errors import OutputError

_OLD = "old"
"""Name of a folder moved aside; nothing that is written bears it, since every output has a suffix or stays a folder."""


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
    with _drafting(path) as folder:
        draft = folder / path.name
        yield draft
        _to_disk(draft)
        os.replace(draft, path)


@contextmanager
def replacing_folder(path: Path) -> Iterator[Path]:
    """Give an empty folder beside ``path``; on leaving without an error, put it in the place of the old one, all at once.

    Files in the old folder that have no successor stay in it.

    Parameters
    ----------
    path : Path
        The output, a folder. The one around it is made where there is none.

    Yields
    ------
    Path
        Where to write, files only.

    Raises
    ------
    OutputError
        The output could not be written, naming it and what to do.
    """
    path = Path(path)
    path = path.resolve() if path.is_symlink() else path
    with _drafting(path) as folder:
        draft = folder / "new"
        draft.mkdir()
        yield draft
        for file in draft.iterdir():
            _to_disk(file)
        if path.exists():
            _keep_others(path, draft)
            if not _exchange(draft, path):
                # for a moment there is none; what a kill leaves then is put back by the next writer
                os.rename(path, folder / _OLD)
                os.rename(draft, path)
        else:
            os.rename(draft, path)


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


@contextmanager
def _drafting(path: Path) -> Iterator[Path]:
    """A hidden folder beside an output, gone afterwards; every error of the system names the output."""
    folder: Path | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _clear_stale(path)
        folder = Path(tempfile.mkdtemp(prefix=f"{_hidden(path)}{os.getpid()}.", dir=path.parent))
        yield folder
    except OutputError:
        raise
    except OSError as error:
        raise OutputError(path, _advice(error)) from error
    finally:
        if folder is not None:
            _put_back(folder, path)
            shutil.rmtree(folder, ignore_errors=True)


def _hidden(path: Path) -> str:
    """Beginning of the names of hidden folders for an output, made on this machine."""
    return f".{path.name[:40]}.{zlib.crc32(platform.node().encode()):08x}-"


def _clear_stale(path: Path) -> None:
    """Remove what killed programs of this machine left beside an output."""
    if os.name != "posix":
        return  # asking after a process would end it there
    for left in path.parent.glob(f"{_escaped(_hidden(path))}*"):
        found = re.fullmatch(r"(\d+)\..+", left.name[len(_hidden(path)) :])
        if found and left.is_dir() and not _alive(int(found[1])):
            _put_back(left, path)
            shutil.rmtree(left, ignore_errors=True)


def _escaped(text: str) -> str:
    return re.sub(r"([*?[])", r"[\1]", text)


def _alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        pass
    return True


def _put_back(folder: Path, path: Path) -> None:
    """Put a folder that was moved aside in its place again where nothing has taken it."""
    if (folder / _OLD).is_dir() and not path.exists():
        os.rename(folder / _OLD, path)


def _to_disk(file: Path) -> None:
    with file.open("rb+") as written:
        os.fsync(written.fileno())


def _keep_others(old: Path, new: Path) -> None:
    """Have in the new folder too what lies in the old one under a name of its own."""
    for item in old.iterdir():
        if (new / item.name).exists():
            continue
        if item.is_dir():
            shutil.copytree(item, new / item.name, symlinks=True)
        else:
            shutil.copy2(item, new / item.name, follow_symlinks=False)


def _exchange(one: Path, other: Path) -> bool:
    """Let two folders change places at once, where the system can; False, and nothing done, where it cannot."""
    call = getattr(ctypes.CDLL(None), "renameat2", None) if sys.platform == "linux" else None
    if call is None:
        return False
    here, exchange = -100, 2  # AT_FDCWD, RENAME_EXCHANGE (renameat2(2))
    done: int = call(here, os.fsencode(one), here, os.fsencode(other), exchange)
    return done == 0


def _advice(error: OSError) -> str:
    if isinstance(error, PermissionError):
        return "no permission, or the file is open in another program: close it there or choose another place"
    if isinstance(error, (NotADirectoryError, FileExistsError)):
        return "part of the path is a file and not a folder: choose another place"
    if isinstance(error, IsADirectoryError):
        return "a folder of that name is in the way: choose another place"
    reason = error.strerror or str(error)
    return f"{reason}: make room or choose another place"

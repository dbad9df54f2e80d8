"""What can go wrong for a user, and the exit status each leaves behind."""

from __future__ import annotations

from enum import IntEnum
from pathlib import Path


class Exit(IntEnum):
    """Exit status of the command line."""

    PASS = 0
    FAIL = 1  # a check fails, or no plan exists
    USAGE = 2
    REFUSED = 3  # an input that cannot be used
    UNWRITTEN = 4  # an output that could not be written
    BUG = 70


class UsageError(ValueError):
    """The command line asks for something that cannot be."""


class JobError(ValueError):
    """A job file that cannot be used, with every fault in it.

    Parameters
    ----------
    file : str
        The job file.
    faults : tuple of str
        One sentence each: what, what would be right, and in which table.
    """

    def __init__(self, file: str, faults: tuple[str, ...]) -> None:
        self.file = file
        self.faults = faults
        super().__init__("\n".join(faults))


class ResultError(ValueError):
    """A result document that cannot be used."""


class OutputError(OSError):
    """An output that could not be written.

    Parameters
    ----------
    path : Path
        What was to be written.
    reason : str
        Why not, and what to do.
    """

    def __init__(self, path: Path, reason: str) -> None:
        self.path = path
        self.reason = reason
        super().__init__(f"cannot write {path}: {reason}")

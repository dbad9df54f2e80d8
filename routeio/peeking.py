"""Peeking: what a file holds, asked without telling it anything, and what would have to be said to read it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from routeio.firstbytes import reader_for
from routeio.guess import Guess
from routeio.isolation import in_worker
from routeio.limits import Limits
from routeio.options import ReadOptions


@dataclass(frozen=True)
class LayerPeek:
    """One layer of a file.

    Parameters
    ----------
    name : str
        As the file spells it.
    kinds : mapping of str to int
        Kind of entity or geometry to count; -1 where the format does not count.
    fields : tuple of str
        Fields of its features, or attribute tags of its blocks.
    blocks : tuple of str
        Names of the blocks inserted on it.
    crs : str or None
        Of a GIS layer.
    """

    name: str
    kinds: Mapping[str, int]
    fields: tuple[str, ...] = ()
    blocks: tuple[str, ...] = ()
    crs: str | None = None


@dataclass(frozen=True)
class Peek:
    """What a file holds.

    Parameters
    ----------
    file : str
        Its name.
    format : str
        Such as ``DXF R2013`` or ``GPKG``.
    layers : tuple of LayerPeek
        All of them.
    units : str or None
        Horizontal unit: a key of :data:`routeio.ground.UNITS`, ``degree``, or None where the file does not say.
    crs : str or None
        Authority code or WKT; None where the file does not say.
    extents : tuple of 4 floats or None
        Least and greatest x and y, in file units: ``(x0, y0, x1, y1)``.
    missing : tuple of str
        What the file does not say and a job would have to, each with what helps to find out.
    guesses : tuple of Guess
        ``ducts`` and ``vaults`` for layers; ``vaults by block``; ``vaults.name`` and so on for fields; ``elevation_units``; each with its
        reason.
    elevation_units : str or None
        Unit of elevations where the file says one of its own.
    """

    file: str
    format: str
    layers: tuple[LayerPeek, ...]
    units: str | None
    crs: str | None
    extents: tuple[float, float, float, float] | None
    missing: tuple[str, ...]
    guesses: tuple[Guess, ...]
    elevation_units: str | None = None

    def guessed(self, what: str) -> tuple[str, ...]:
        """Return the names guessed for something.

        Parameters
        ----------
        what : str
            Such as ``ducts`` or ``vaults.name``.

        Returns
        -------
        tuple of str
            Empty where nothing looks like it.
        """
        return tuple(g.name for g in self.guesses if g.what == what)


def peek(path: str | Path, limits: Limits | None = None) -> Peek:
    """Look into a file.

    Parameters
    ----------
    path : str or Path
        Any file that some reader takes, also one without units or CRS.
    limits : Limits, optional
        Time and memory.

    Returns
    -------
    Peek
        What it holds and what it does not say.

    Raises
    ------
    InputRefusedError
        No such file, another format than its name says, damaged.
    TypeError
        The worker answered something else: a fault of ours.
    """
    path = Path(path)
    reader, _ = reader_for(path)
    answer = in_worker(path, reader, "peek", ReadOptions(), limits or Limits())
    if not isinstance(answer, dict):
        raise TypeError("the worker answered something else than a peek")
    plain: dict[str, Any] = answer["peek"]
    return made(path.name, plain)


def made(file: str, plain: Mapping[str, Any]) -> Peek:
    """Return the peek that a format's own module gives as plain values.

    Parameters
    ----------
    file : str
        Its name.
    plain : mapping
        As :func:`routeio.dxf_peek.peek` and its like return it.

    Returns
    -------
    Peek
        The same.
    """
    extents = plain["extents"]
    return Peek(
        file,
        plain["format"],
        tuple(
            LayerPeek(p["name"], p["kinds"], tuple(p["fields"]), tuple(p["blocks"]), p["crs"])
            for p in plain["layers"]
        ),
        plain["units"],
        plain["crs"],
        None if extents is None else (extents[0], extents[1], extents[2], extents[3]),
        tuple(plain["missing"]),
        tuple(Guess(*g) for g in plain["guesses"]),
        plain.get("elevation_units"),
    )

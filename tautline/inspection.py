"""Inspections: a file looked into and read as far as it goes, by guesses or as a job says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from mechanics.errors import DomainError
from mechanics.units import System, quantity
from routeio.findings import InputRefusedError
from routeio.options import ReadOptions, Selection
from routeio.peeking import Peek, peek
from routeio.read import read_survey
from routeio.survey import Survey
from tautline.errors import UsageError
from tautline.job import read_route_of


@dataclass(frozen=True)
class Inspection:
    """What was found in a file.

    Parameters
    ----------
    peek : Peek
        What the file holds.
    survey : Survey or None
        As read; None where it was refused.
    refusal : InputRefusedError or None
        Why it cannot be read as it is.
    told : ReadOptions
        What was told of it.
    """

    peek: Peek
    survey: Survey | None
    refusal: InputRefusedError | None = None
    told: ReadOptions = field(default_factory=ReadOptions)


def inspect_file(
    file: Path,
    *,
    ducts: Sequence[str] = (),
    vaults: Sequence[str] = (),
    units: str | None = None,
    crs: str | None = None,
    elevation_units: str | None = None,
    snap: str = "1 ft",
    sweep: str | None = None,
) -> Inspection:
    """Look into a file and read it as far as it goes.

    Parameters
    ----------
    file : Path
        A drawing or layer.
    ducts, vaults : sequence of str, optional
        Layer names or patterns; empty: guessed.
    units, crs, elevation_units : str, optional
        Where the file does not say.
    snap, sweep : str, optional
        Lengths with their units.

    Returns
    -------
    Inspection
        With the refusal in it where the file was looked into but could not be read.

    Raises
    ------
    InputRefusedError
        The file cannot be looked into at all.
    UsageError
        A length without its unit.
    """
    told = ReadOptions(
        snap=_length("--snap", snap), sweep=None if sweep is None else _length("--sweep", sweep)
    )
    seen = peek(file)
    options = replace(
        told,
        # fields are taken as guessed, so that tags and inverts are seen
        ducts=Selection(tuple(ducts) or seen.guessed("ducts"), fields=fields_guessed(seen, "ducts")),
        vaults=vaults_guessed(seen, vaults),
        units=units,
        crs=crs,
        elevation_units=elevation_units,
    )
    return _read(file, seen, options)


def inspect_job(file: Path) -> Inspection:
    """Look into the drawing or layer of a job, and read it as the job says.

    Parameters
    ----------
    file : Path
        A job file; only its ``[route]`` is read.

    Returns
    -------
    Inspection
        Of its source.

    Raises
    ------
    InputRefusedError
        The source cannot be looked into at all.
    JobError
        With every fault of ``[route]``.
    """
    source, options = read_route_of(file)
    return _read(source, peek(source), options)


def _read(file: Path, seen: Peek, options: ReadOptions) -> Inspection:
    try:
        survey = read_survey(file, options, forgiving=True)
    except InputRefusedError as refusal:
        return Inspection(seen, None, refusal, options)
    return Inspection(seen, survey, None, options)


def units_read(seen: Peek, survey: Survey | None = None) -> System:
    """Return the system of units that whoever drew a file seems to read.

    Parameters
    ----------
    seen : Peek
        Of the file.
    survey : Survey, optional
        As read, for a file that does not say its unit itself.

    Returns
    -------
    {"us", "si"}
        ``us`` where the file is in feet, inches or miles.
    """
    unit = seen.units or ("" if survey is None else survey.ground.unit)
    words = ("foot", "feet", "inch", "mile", "yard")
    return "us" if unit in {"ft", "in", "mi", "yd"} or any(word in unit for word in words) else "si"


def vaults_guessed(seen: Peek, layers: Sequence[str] = ()) -> Selection:
    """Return what is taken for vaults.

    Parameters
    ----------
    seen : Peek
        Of the file.
    layers : sequence of str, optional
        Layers stated; empty: guessed, or the blocks guessed where no layer is.

    Returns
    -------
    Selection
        With the fields guessed.
    """
    fields = fields_guessed(seen, "vaults")
    if layers:
        return Selection(tuple(layers), fields=fields)
    return Selection(seen.guessed("vaults"), fields=fields, block=seen.guessed("vaults by block"))


def fields_guessed(seen: Peek, what: str) -> dict[str, str]:
    """Return the fields guessed for ducts or vaults.

    Parameters
    ----------
    seen : Peek
        Of the file.
    what : str
        ``ducts`` or ``vaults``.

    Returns
    -------
    dict of str to str
        Our name to the file's.
    """
    return {g.what.split(".", 1)[1]: g.name for g in seen.guesses if g.what.startswith(f"{what}.")}


def _length(option: str, text: str) -> float:
    try:
        return quantity(text, "length", option)
    except DomainError as error:
        raise UsageError(str(error)) from error

"""The job file: one TOML file read strictly into everything the packages below need, every fault at once."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, cast

from mechanics.cable import Bundle
from mechanics.errors import DomainError
from mechanics.rules import Rules
from mechanics.tables import Tables, built_in
from network import Guides
from network.plan import PlanRules
from routeio.options import ReadOptions
from tautline.bores import Lining
from tautline.errors import JobError
from tautline.job_bundle import read_bundle
from tautline.job_ducts import read_guides, read_lining
from tautline.job_other import Common, StatedBundle, read_others
from tautline.job_route import read_route
from tautline.job_rules import PullRequest, read_plan, read_pulls, read_rules
from tautline.job_table import Record, Setting, Table
from tautline.job_vaults import NewVaults, read_vaults

_LARGEST = 4_000_000  # bytes; a job is written by hand, a drawing given in its place is not


@dataclass(frozen=True)
class Job:
    """Everything a job file says, checked, in SI units.

    Parameters
    ----------
    file : Path
        The job file.
    name : str
        Of the job.
    units : {"us", "si"}
        What people read.
    source : Path
        The drawing or layer.
    options : ReadOptions
        How to read it.
    feeder : tuple of str
        From, any vaults between, to; empty where not stated.
    bundle : Bundle
        The cables.
    lining : Lining
        Ducts and friction where a span's own fields say nothing.
    guides : Guides
        At vaults.
    plan : PlanRules
        Reel, slack, prices.
    rules : Rules
        What a pull is judged by.
    pulls : tuple of PullRequest
        For ``check``.
    vaults : NewVaults or None
        Where new vaults may stand; None: none are proposed.
    others : tuple of StatedBundle
        Other bundles between vaults of the feeder.
    settings : tuple of Setting
        All that was stated or taken by default.
    assumed, overridden : tuple of str
        Sentences.
    """

    file: Path
    name: str
    units: Literal["us", "si"]
    source: Path
    options: ReadOptions
    feeder: tuple[str, ...]
    bundle: Bundle
    lining: Lining
    guides: Guides
    plan: PlanRules
    rules: Rules
    pulls: tuple[PullRequest, ...] = ()
    vaults: NewVaults | None = None
    others: tuple[StatedBundle, ...] = ()
    settings: tuple[Setting, ...] = ()
    assumed: tuple[str, ...] = ()
    overridden: tuple[str, ...] = ()


def read_job(path: str | Path) -> Job:
    """Read a job file.

    Parameters
    ----------
    path : str or Path
        A TOML file; names of other files in it are relative to its folder.

    Returns
    -------
    Job
        Checked; nothing in it is left to check but what the drawing itself says.

    Raises
    ------
    JobError
        With every fault: unknown keys, numbers without a unit, values out of range, missing keys.
    """
    file = Path(path)
    record = Record(file.name)
    top = Table("", _parsed(file), record)
    head = top.sub("job")
    name = head.text("name") or file.stem
    units = head.text("units", choices=("us", "si"))
    tables = _tables(head, file.parent)
    source, options, feeder = read_route(top.sub("route"), file.parent)
    limits, duct = top.sub("limits"), top.sub("duct")
    sheet, pulling = top.sub("bundle"), top.sub("pulling")
    bundle, max_sidewall = read_bundle(sheet, limits, tables)
    jacket = bundle.cables[0].jacket if bundle else ""
    lining = read_lining(duct, top.sub("friction"), top.subs("duct_layer"), jacket, tables)
    guides = read_guides(top.sub("guides"))
    plan = read_plan(top.sub("plan"))
    rules = read_rules(
        pulling,
        limits,
        plan,
        max_sidewall,
        area=_area_as_written(top.values),
        tables=tables,
    )
    others = read_others(
        top.subs("other_bundle"), Common(sheet, limits, pulling, bundle, rules, lining, plan)
    )
    pulls = read_pulls(top.subs("pull"))
    vaults = read_vaults(top.sub("vaults"), file.parent)
    for table in record.tables:
        table.close()
    if record.faults or bundle is None or guides is None or units is None:
        raise JobError(file.name, tuple(record.faults))
    return Job(
        file=file,
        name=name,
        units=cast('Literal["us", "si"]', units),
        source=source,
        options=options,
        feeder=feeder,
        bundle=bundle,
        lining=lining,
        guides=guides,
        plan=plan,
        rules=rules,
        pulls=pulls,
        vaults=vaults,
        others=others,
        settings=tuple(record.settings),
        assumed=tuple(record.assumed),
        overridden=tuple(record.overridden),
    )


def read_route_of(path: str | Path) -> tuple[Path, ReadOptions]:
    """Read of a job file only where its drawing is and how it is read; the rest may be unfinished.

    Parameters
    ----------
    path : str or Path
        A TOML file.

    Returns
    -------
    source : Path
        The drawing or layer.
    options : ReadOptions
        How to read it.

    Raises
    ------
    JobError
        With every fault of ``[route]``.
    """
    file = Path(path)
    record = Record(file.name)
    top = Table("", _parsed(file), record)
    source, options, _ = read_route(top.sub("route"), file.parent)
    for table in record.tables:
        if table is not top:
            table.close()
    if record.faults:
        raise JobError(file.name, tuple(record.faults))
    return source, options


def _tables(head: Table, folder: Path) -> Tables:
    """Return the tables of ducts, frictions and limits, with the job's own on top where it names a folder."""
    name = head.text("tables")
    if name is None:
        return built_in()
    if not (folder / name).is_dir():
        head.fault("tables", f'names the folder "{name}", and there is none in {folder.resolve()}')
        return built_in()
    try:
        tables = Tables(folder / name)
    except DomainError as error:
        head.fault("tables", f"names a table that cannot be used: {error}")
        return built_in()
    for file in tables.extended:
        head.override(f"job.tables: rows of {file} stand before the built-in ones.")
    return tables


def _area_as_written(values: Mapping[str, Any]) -> object:
    """Return the conductor's area with its unit, for the practice that goes with it."""
    bundle = values.get("bundle")
    conductor = bundle.get("conductor") if isinstance(bundle, dict) else None
    return conductor.get("area") if isinstance(conductor, dict) else None


def _parsed(file: Path) -> dict[str, Any]:
    """Return the file as TOML, or raise a JobError that says what it is instead."""
    try:
        size = file.stat().st_size
        data = file.read_bytes() if size <= _LARGEST else b""
    except FileNotFoundError as error:
        raise JobError(file.name, (f"there is no job file {file}",)) from error
    except OSError as error:
        raise JobError(file.name, (f"cannot read {file}: {error.strerror or error}",)) from error
    if size == 0:
        raise JobError(file.name, (f"{file} is empty; tautline new DRAWING writes a first job file",))
    if size > _LARGEST or b"\0" in data:
        raise JobError(
            file.name,
            (
                f"{file} is not a job file (TOML text); for a drawing or layer, tautline new {file.name} writes one",
            ),
        )
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise JobError(file.name, (f"{file} must be saved as UTF-8; byte {error.start} is not",)) from error
    except tomllib.TOMLDecodeError as error:
        hint = (
            ""
            if file.suffix == ".toml"
            else f"; if it is a drawing, tautline new {file.name} writes a job for it"
        )
        raise JobError(file.name, (f"{file} is not valid TOML: {error}{hint}",)) from error
    except RecursionError as error:
        raise JobError(file.name, (f"{file} is not a job file: brackets nested too deep",)) from error

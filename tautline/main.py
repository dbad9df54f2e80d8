"""The command line: arguments, what is printed where, exit status. Heavy libraries are loaded by the commands."""

from __future__ import annotations

import argparse
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from tautline.errors import Exit, JobError, OutputError, ResultError, UsageError
from tautline.progress import Progress

if TYPE_CHECKING:
    from tautline.questions import Questions

_MOST_ALTERNATIVES = 100
_TOLD_OF_A_FILE = ("ducts", "vaults", "units", "crs", "elevation_units", "snap", "sweep")
_TOLD = 10  # findings told beside a refusal before the rest is only counted

_ABOUT = """\
Reads a duct-bank route from a drawing (DXF) or a GIS layer and works out how the cable is pulled in: tension and
sidewall pressure along every span in both directions, splices, pull points, re-lube stops, reel lengths, lubricant."""

_FILES = "DXF drawing, GeoPackage, Shapefile, GeoJSON or other layer, LandXML, or a bend schedule (CSV, XLSX)"

_EXAMPLES = """\
first steps:
  tautline demo                         plan the sample route and see what comes out
  tautline inspect harbour.dxf          what is in a drawing: layers, units, ducts, vaults, what is wrong with it
  tautline new harbour.dxf              write harbour.toml, a first job file to fill in
  tautline check harbour.toml           every span, each way: tension, sidewall pressure, pass or fail
  tautline plan harbour.toml --out out  splices, pulls and re-lube stops for the feeder, with drawings and a report

exit status: 0 all checks pass, 1 a check fails or no plan exists, 2 usage, 3 input refused,
4 output could not be written, 70 a fault of this program"""


def parser() -> argparse.ArgumentParser:
    """Return the parser of the command line.

    Returns
    -------
    ArgumentParser
        Its result has ``run``, the function that carries the command out.
    """
    plain = argparse.RawDescriptionHelpFormatter
    top = argparse.ArgumentParser("tautline", description=_ABOUT, epilog=_EXAMPLES, formatter_class=plain)
    top.add_argument("--version", action="store_true", help="print the version and exit")
    debug = argparse.ArgumentParser(add_help=False)
    debug.add_argument("--debug", action="store_true", help="show the traceback of an error")
    json_only = argparse.ArgumentParser(add_help=False)
    json_only.add_argument(
        "--json", action="store_true", help="print JSON on standard output and nothing else"
    )
    out = argparse.ArgumentParser(add_help=False)
    out.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        help="write the result and its deliverables there; without it nothing is written",
    )
    only = argparse.ArgumentParser(add_help=False)
    only.add_argument(
        "--only",
        metavar="NAMES",
        help="which of json, html, gpkg, dxf, xlsx, csv, pdf, crew, svg, drawing to write (default: all), such as "
        "json,html; drawing is the input drawing's copy with the result on layers of its own",
    )
    picture = argparse.ArgumentParser(add_help=False)
    picture.add_argument(
        "--picture",
        metavar="FILE",
        type=Path,
        help="write plan and profile as a picture for a document: .svg or .png",
    )
    commands = top.add_subparsers(metavar="COMMAND", title="commands")

    def add(
        name: str, run: Callable[[argparse.Namespace], Exit], text: str, more: str, *parents: Any
    ) -> argparse.ArgumentParser:
        command = commands.add_parser(
            name,
            help=text,
            description=f"{text[0].upper()}{text[1:]}.\n\n{more}",
            formatter_class=plain,
            parents=[debug, *parents],
        )
        command.set_defaults(run=run)
        return command

    inspect = add(
        "inspect",
        _inspect,
        "say what is in a drawing or layer",
        "Layers, units, coordinate system, ducts, vaults, and everything that looks wrong. Needs no job file; of a job\n"
        "file, its drawing or layer as the job has it read, with its profile table or terrain.\n"
        "example: tautline inspect harbour.dxf --ducts 'DUCT*' --vaults 'VAULT*' --units us_survey_foot\n"
        "         tautline inspect harbour.dxf --picture understood.svg --sweep '12.5 ft' --write understood.gpkg\n"
        "         tautline inspect harbour.toml",
        json_only,
    )
    inspect.add_argument("file", metavar="FILE", type=Path, help=f"{_FILES}; or a job file (TOML)")
    inspect.add_argument(
        "--picture",
        metavar="FILE",
        type=Path,
        help="write the drawing as it was understood as a picture, .svg or .png: ducts, bends with radius and turn, "
        "vaults, findings by number, raw vertices underneath",
    )
    inspect.add_argument(
        "--write",
        metavar="FILE",
        type=Path,
        help="write ducts, segments and vaults as read to a new file: .dxf (arcs as arcs) or .gpkg; nothing is overwritten",
    )
    inspect.set_defaults(only=None)
    _selection(inspect)
    new = add(
        "new",
        _new,
        "write a first job file for a drawing or layer",
        "The layers, fields and units it guesses are told with their reasons as comments; what only you can know is\n"
        "marked FILL IN. Never overwrites a file.\n"
        "example: tautline new harbour.dxf\n"
        "         tautline new --table spans.xlsx      (a bend schedule to fill in, for spans that are not drawn)",
    )
    new.add_argument("file", metavar="FILE", type=Path, nargs="?", help=_FILES)
    new.add_argument(
        "--table",
        metavar="TABLE",
        type=Path,
        nargs="?",
        const=Path("bend-schedule.csv"),
        help="write a bend schedule to fill in instead: .csv or .xlsx (bend-schedule.csv)",
    )
    new.add_argument(
        "--job", metavar="FILE", type=Path, help="the job file to write (default: beside the drawing)"
    )
    for name, text, more in (
        (
            "check",
            "evaluate the pulls of a job, or every span of its route",
            "The [[pull]] tables of the job as given; where there are none, every span in its better direction. Needs\n"
            "no feeder. The other direction is shown beside each.\n"
            "example: tautline check harbour.toml\n"
            "         tautline check harbour.toml --longest-from MH-3 --smallest-radius MH-3:MH-4",
        ),
        (
            "plan",
            "choose splices, pulls, directions and re-lube stops for the feeder of a job",
            "The cheapest plan there is by the prices in [plan] cost; where there is none, why.\n"
            "example: tautline plan harbour.toml --out harbour-plan",
        ),
    ):
        command = add(name, _job, text, more, json_only, out, only, picture)
        command.add_argument("job", metavar="JOB", type=Path, help="job file (TOML)")
        command.set_defaults(command=name, why=False, alternatives=0)
        if name == "check":
            for option, metavar, more in (
                (
                    "--longest-from",
                    "VAULT",
                    "say how far a pull from this vault of the feeder can go, both ways",
                ),
                ("--smallest-radius", "FROM:TO", "say how tight the bends between two vaults may be"),
                ("--smallest-duct", "FROM:TO", "say how narrow the ducts between two vaults may be"),
            ):
                command.add_argument(
                    option,
                    metavar=metavar,
                    action="append",
                    default=[],
                    help=f"{more}; may be given again",
                )
        if name == "plan":
            command.add_argument(
                "--alternatives",
                metavar="N",
                type=_some,
                help="show up to N plans that trade cost against margin, each the cheapest at its worst utilisation",
            )
            command.add_argument(
                "--why",
                action="store_true",
                help="give every reason of a plan, or all that would help where there is none, on a feeder of any length "
                "(up to 60 vaults reasons are given unasked)",
            )
    explain = add(
        "explain",
        _explain,
        "write one pull out as a hand calculation",
        "Every segment with its equation, the numbers put in, the tension out, each limit and its source; enough to\n"
        "follow with a pocket calculator.\n"
        "example: tautline explain out/result.json 1         (the first pull)\n"
        "         tautline explain out/result.json MH-3:MH-7 (by feed and pull vault, either way)",
    )
    explain.add_argument("result", metavar="RESULT", type=Path, help="result.json of plan or check")
    explain.add_argument("pull", metavar="PULL", help="its number, or FEED:PULL, either way of it")
    report = add(
        "report",
        _report,
        "make the deliverables again from a result document",
        "Needs neither the job file nor the drawing; an annotated copy of the drawing needs that too.\n"
        "example: tautline report out/result.json --out again --drawing harbour.dxf",
        only,
        picture,
    )
    report.add_argument(
        "--drawing",
        metavar="FILE",
        type=Path,
        help="the DXF drawing that the result was made from, for its annotated copy",
    )
    report.add_argument("result", metavar="RESULT", type=Path, help="result.json of plan or check")
    report.add_argument("--out", metavar="DIR", type=Path, required=True, help="where to write them")
    demo = add(
        "demo",
        _demo,
        "plan the sample route and say where the results are",
        "An invented 15 kV feeder of 2.6 km. example: tautline demo --out /tmp/demo",
        json_only,
        only,
    )
    demo.add_argument(
        "--out", metavar="DIR", type=Path, default=Path("tautline-demo"), help="default: tautline-demo"
    )
    demo.set_defaults(picture=None)
    return top


def _some(text: str) -> int:
    """Read how many plans to show."""
    if not (text.isascii() and text.isdecimal() and len(text) < 9 and 1 <= int(text) <= _MOST_ALTERNATIVES):
        raise argparse.ArgumentTypeError(
            f"must be a whole number from 1 to {_MOST_ALTERNATIVES}, got {text[:40]!r}"
        )
    return int(text)


def _selection(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--ducts", metavar="LAYER", action="append", default=[], help="layer or pattern of ducts"
    )
    command.add_argument("--vaults", metavar="LAYER", action="append", default=[], help="the same of vaults")
    command.add_argument(
        "--units", metavar="UNIT", help="unit of a file that does not say, such as us_survey_foot"
    )
    command.add_argument("--crs", metavar="CRS", help="coordinate system of a file that does not say")
    command.add_argument(
        "--elevation-units", metavar="UNIT", help="unit of elevations, where it is not the horizontal one"
    )
    command.add_argument("--snap", metavar="LENGTH", help="how far a line end may be off (1 ft)")
    command.add_argument("--sweep", metavar="LENGTH", help="radius of corners drawn sharp, such as '12.5 ft'")


def main(arguments: Sequence[str] | None = None) -> Exit:
    """Carry out one command line.

    Parameters
    ----------
    arguments : sequence of str, optional
        Default: those of the process.

    Returns
    -------
    Exit
        The exit status.

    Raises
    ------
    SystemExit
        By argparse, after ``--help`` or on a line it cannot read (status 2).
    """
    top = parser()
    given = top.parse_args(arguments)
    if given.version:
        from tautline.document import program_version

        print(f"tautline {program_version()}")
        return Exit.PASS
    if not hasattr(given, "run"):
        top.print_help(sys.stderr)
        return Exit.USAGE
    try:
        status: Exit = given.run(given)
    except BrokenPipeError:
        raise
    except Exception as error:  # noqa: BLE001 - the one place where every error becomes words and a status
        if given.debug:
            traceback.print_exc()
        return _told(error)
    return status


def entry() -> NoReturn:
    """Run the command line of this process and end it with the exit status."""
    try:
        status = int(main())
        sys.stdout.flush()
    except BrokenPipeError:
        # the reader of our output went away, as "| head" does; nothing is wrong and nobody is left to tell
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 128 + 13
    except KeyboardInterrupt:
        print("tautline: stopped", file=sys.stderr)
        status = 128 + 2
    sys.exit(status)


def _told(error: Exception) -> Exit:
    """Say what went wrong in words, and return the exit status for it."""
    # the packages below are loaded by whatever raised their errors; asking for them here costs --help nothing
    from mechanics.errors import DomainError
    from routeio.findings import InputRefusedError

    if isinstance(error, JobError):
        many = len(error.faults) > 1
        _say(f"job file refused{f', {len(error.faults)} faults' if many else ''}:")
        for fault in error.faults:
            _say(f"  {fault}")
        return Exit.REFUSED
    if isinstance(error, InputRefusedError):
        _say(f"input refused [{error.code}]: {error}")
        # what was put right on the way is no part of why it is refused
        told = [f for f in error.findings if f.severity != "info"]
        for finding in told[:_TOLD]:
            _say(f"  found as well: {finding.severity} [{finding.code}] {finding.message}")
        if len(told) > _TOLD:
            _say(f"  and {len(told) - _TOLD} more; tautline inspect lists them")
        return Exit.REFUSED
    if isinstance(error, DomainError | ResultError):
        _say(f"input refused: {error}")
        return Exit.REFUSED
    if isinstance(error, UsageError):
        _say(str(error))
        return Exit.USAGE
    if isinstance(error, OutputError):
        _say(str(error))
        return Exit.UNWRITTEN
    _say(f"a fault of this program, not of your input: {type(error).__name__}: {error}")
    _say("  --debug shows where; please report it with the job file")
    return Exit.BUG


def _say(text: str) -> None:
    """Print a message on standard error, whatever characters that can take."""
    encoding = sys.stderr.encoding or "ascii"
    print(f"tautline: {text}".encode(encoding, "backslashreplace").decode(encoding), file=sys.stderr)


def _print(text: str) -> None:
    """Print a result on standard output, whatever characters that can take."""
    encoding = sys.stdout.encoding or "ascii"
    try:
        sys.stdout.write(text.encode(encoding, "backslashreplace").decode(encoding))
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:  # a full disk behind a redirection
        # what is left in the buffer would fail again at exit, in other words
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise OutputError(Path("standard output"), error.strerror or str(error)) from error


def _job(given: argparse.Namespace) -> Exit:
    from tautline.run import run_job

    _before(given)
    with Progress() as progress:
        run = run_job(
            given.job,
            given.command,
            progress,
            why=given.why,
            alternatives=given.alternatives or 0,
            asked=_asked(given),
        )
        written = _deliver(run.document, given, [run.job.file, run.job.source], progress, run.job.source)
    return _shown(run.document, given.json, written)


def _asked(given: argparse.Namespace) -> Questions | None:
    """Return what a check is asked the other way round; None where nothing is."""
    if given.command != "check" or not (given.longest_from or given.smallest_radius or given.smallest_duct):
        return None
    from tautline.questions import Questions, stretch

    return Questions(
        tuple(given.longest_from),
        tuple(map(stretch, given.smallest_radius)),
        tuple(map(stretch, given.smallest_duct)),
    )


def _demo(given: argparse.Namespace) -> Exit:
    from tautline.demo import sample_job
    from tautline.run import run_job

    _before(given)
    with Progress() as progress:
        run = run_job(sample_job(), "plan", progress)
        written = _deliver(run.document, given, [run.job.file, run.job.source], progress, run.job.source)
    status = _shown(run.document, given.json, written)
    if not given.json:
        _print(f"\nThe job file of this demo is {run.job.file}\n")
        _print(f"Open {given.out / 'result.html'} in a browser.\n")
    return status


def _report(given: argparse.Namespace) -> Exit:
    from tautline.document import read_document

    _before(given)
    with Progress() as progress:
        progress(f"reading {given.result}")
        document = read_document(given.result)
        inputs = [given.result] if given.drawing is None else [given.result, given.drawing]
        written = _deliver(document, given, inputs, progress, given.drawing, asked=given.drawing is not None)
    return _shown(document, False, written)


def _explain(given: argparse.Namespace) -> Exit:
    from tautline.document import read_document
    from tautline.explain import explain, find_pull
    from tautline.explain_lines import terminal_width

    document = read_document(given.result)
    _print(explain(document, find_pull(document, given.pull), terminal_width()))
    return Exit.PASS


def _inspect(given: argparse.Namespace) -> Exit:
    from tautline.inspect import (
        as_json,
        as_text,
        refuse_unwritable,
        unfit_to_write,
        write_inspection,
        write_read,
    )
    from tautline.inspection import inspect_file, inspect_job

    _before(given)
    if given.write is not None:
        refuse_unwritable(given.write)
    told = {name: getattr(given, name) for name in _TOLD_OF_A_FILE if getattr(given, name)}
    is_job = given.file.suffix.lower() == ".toml"
    if is_job and told:
        raise UsageError(f"--{next(iter(told)).replace('_', '-')}: a job says it itself, in [route]")
    with Progress() as progress:
        progress(f"reading {given.file}")
        found = inspect_job(given.file) if is_job else inspect_file(given.file, **told)
        if given.picture is not None and found.survey is not None:
            progress(f"writing {given.picture}")
            write_inspection(found, given.picture)
        refusal = found.refusal
        written = [path for path in (given.picture,) if path is not None]
        if given.write is not None and found.survey is not None:
            refusal = unfit_to_write(found.survey)
            if refusal is None:
                progress(f"writing {given.write}")
                write_read(found.survey, given.write)
                written.append(given.write)
    _print(as_json(found) if given.json else as_text(found))
    if found.survey is None:
        for path in (p for p in (given.picture, given.write) if p is not None):
            _say(f"{path} was not written: there is nothing to draw")
    elif not given.json:
        for path in written:
            _print(f"\nWritten: {path}\n")
    # told after what could be seen, so that it says what to state
    return Exit.PASS if refusal is None else _told(refusal)


def _new(given: argparse.Namespace) -> Exit:
    from tautline.new import first_job
    from tautline.outputs import write_new

    if (given.file is None) == (given.table is None):
        raise UsageError(
            "new needs one thing: a FILE to write a job for, or --table to write a bend schedule"
        )
    if given.table is not None:
        from tautline.new_table import table_template

        write_new(given.table, table_template(given.table), "--table")
        _print(f"Wrote {given.table}. Replace its example rows, then: tautline new {given.table}\n")
        return Exit.PASS
    path = given.job or given.file.with_suffix(".toml")
    with Progress() as progress:
        progress(f"reading {given.file}")
        text = first_job(given.file, path)
    write_new(path, text)
    _print(f"Wrote {path}. Fill in what is marked FILL IN, then: tautline check {path}\n")
    return Exit.PASS


def _before(given: argparse.Namespace) -> None:
    """Refuse what ``--picture`` and ``--only`` cannot be before any work is done."""
    if given.picture is not None and given.picture.suffix.lower() not in (".svg", ".png"):
        raise UsageError(f"--picture must end in .svg or .png, got {given.picture}")
    if given.only is None:
        return
    if given.out is None:
        raise UsageError("--only says what to write, and --out where; --out is missing")
    from tautline.outputs import chosen

    drawing = getattr(given, "drawing", Path())  # plan and check find out when they read the job
    chosen(given.only, drawing)


def _deliver(
    document: dict[str, Any],
    given: argparse.Namespace,
    inputs: Sequence[Path],
    progress: Progress,
    source: Path | None,
    *,
    asked: bool = False,
) -> list[Path]:
    """Write what the line asks for; ``asked``: the annotated copy of the drawing as well, or it is an error."""
    if given.out is None and given.picture is None:
        return []
    from tautline.outputs import (
        COPY,
        DELIVERABLES,
        OWN,
        chosen,
        is_drawing,
        write_outputs,
        write_picture,
    )

    written = []
    if given.out is not None:
        drawing = source if source is not None and (asked or is_drawing(source)) else None
        names = chosen(given.only, drawing)
        if given.only is not None and drawing is None and COPY in given.only.replace(" ", "").split(","):
            own = DELIVERABLES[OWN].place
            _say(
                f"there is no DXF drawing here to copy: {own} is a drawing of our own; report takes one with --drawing"
            )
        asked = asked or (given.only is not None and COPY in names)
        warn = None if asked else _say
        written += write_outputs(document, given.out, inputs, progress, names, drawing, warn)
    if given.picture is not None:
        progress(f"writing {given.picture}")
        write_picture(document, given.picture, inputs)
        written.append(given.picture)
    return written


def _shown(document: dict[str, Any], as_json: bool, written: Sequence[Path]) -> Exit:
    """Print a result and return what its verdict means."""
    from tautline.deliver.screen import render
    from tautline.document import as_text

    if as_json:
        _print(as_text(document))
    else:
        _print(render(document))
        if written:
            _print("\nWritten: " + ", ".join(str(path) for path in written) + "\n")
    return Exit.PASS if document["verdict"] == "pass" else Exit.FAIL

"""``tautline new``: a first job file for a drawing or layer, each guess with its reason beside it."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path

from routeio.findings import InputRefusedError
from routeio.options import ReadOptions, Selection
from routeio.peeking import Peek, peek
from routeio.read import read_survey
from routeio.survey import Survey
from tautline.inspection import fields_guessed, units_read, vaults_guessed

FILL_IN = "FILL IN"
_TOLD = 20  # vaults that are told one by one

# What only a data sheet or the owner can know. Left as it is, a value is refused: no example is ever taken for one.
_EXAMPLES = {
    "us": {
        "diameter": "1.62 in",
        "weight": "1.75 lbf/ft",
        "area": "500 kcmil",
        "sidewall": "500 lbf/ft",
        "hold": "1200 ft",
        "reel": "2500 ft",
        "slack": "15 ft",
        "entry": "100 lbf",
        "sweep": "12.5 ft",
        "snap": "1 ft",
    },
    "si": {
        "diameter": "41 mm",
        "weight": "2.6 kg/m",
        "area": "240 mm2",
        "sidewall": "7.3 kN/m",
        "hold": "400 m",
        "reel": "800 m",
        "slack": "5 m",
        "entry": "500 N",
        "sweep": "4 m",
        "snap": "0.3 m",
    },
}
_BUNDLE = """
[bundle]
cables = "FILL IN"                # cables pulled together into one duct: 1 to 6, a plain number, such as 3
diameter = "FILL IN"              # over the jacket, from the data sheet, such as "{diameter}"
weight = "FILL IN"                # of one cable, such as "{weight}"
conductor = {{ material = "FILL IN", area = "FILL IN" }}   # such as "copper" and "{area}"
construction = "shielded"         # or "600 V", "lead-covered", "armoured", ...: sets the least bending radius
# jacket = "polyethylene"         # sets the friction where [friction] does not
# max_sidewall = "{sidewall}"     # from the data sheet; without it the handbook value for the construction
"""
_REST = """
[friction]                        # without it, by jacket and duct from a table, shown as assumed
# lubricated = 0.20
# dry = 0.40                      # what it tends to once the lubricant has worn off
# hold = "{hold}"                 # how far the cable slides before it begins to

[plan]
# reel = "{reel}"                 # longest cable on one reel
# slack = "{slack}"               # cable beyond the vault at each end of a section
# cost = {{ splice = 10.0, setup = 3.0, relube = 1.0 }}
# splice_at = ["..."]             # vaults where a splice must be
# no_splice = ["..."]             # where none may be; no_feed, no_pull: where no reel, no winch can stand
# middle_feed = true              # a section may be fed from a vault between its ends

# [[other_bundle]]                # where something else is pulled on a part of the feeder; any number
# from = "..."                    # the vaults it lies between, in the direction of the feeder
# to = "..."
# cables = 3                      # as in [bundle], where that differs
# diameter = "{diameter}"         # another cable: then weight, conductor and the rest of its data sheet too

# [vaults]                        # for tautline plan
# propose = true                  # it may add new vaults: to a route that has none, or too few

[pulling]
# attachment = "eye"              # or "grip"
# entry = "{entry}"               # tension at the reel

# [[pull]]                        # for tautline check: a pull to evaluate; none: every span
# feed = "..."
# pull = "..."
"""


def first_job(file: Path, job: Path) -> str:
    """Return the text of a first job file.

    Parameters
    ----------
    file : Path
        The drawing or layer.
    job : Path
        Where the job file is to stand; it names the drawing from there.

    Returns
    -------
    str
        TOML with comments.

    Raises
    ------
    InputRefusedError
        The file cannot be looked into.
    """
    seen = peek(file)
    survey = _as_guessed(file, seen)
    system = units_read(seen)
    examples = _EXAMPLES[system]
    lines = [
        f"# A first job for {_flat(seen.file)} ({_flat(seen.format)}), written by tautline new.",
        "# Every guess has its reason beside it: correct what is wrong.",
        f"# What is marked {FILL_IN} only you can know; it is refused until it is filled in.",
        "",
        "[job]",
        f"name = {_quoted(file.stem)}",
        f'units = {_quoted(system)}                      # what you read: "us" or "si"',
        "",
        "[route]",
        f"source = {_quoted(_from(job, file))}",
        *_layer_lines(seen, "ducts"),
        *_layer_lines(seen, "vaults"),
        *_unit_lines(seen),
        *_elevation_lines(seen, survey),
        f'# snap = "{examples["snap"]}"                 # how far a line end may be from its vault or its neighbour',
        *_sweep_lines(survey, examples["sweep"]),
        *_feeder_lines(survey),
    ]
    parts = (
        "\n".join(lines),
        _BUNDLE.format(**examples),
        "\n".join(_duct_lines(seen, survey)),
        _REST.format(**examples),
    )
    return "\n".join(parts)


def _as_guessed(file: Path, seen: Peek) -> Survey | None:
    """Read the file by the guesses, for its vaults and corners; None where it cannot be read yet."""
    ducts = Selection(seen.guessed("ducts"), fields=fields_guessed(seen, "ducts"))
    vaults = vaults_guessed(seen)
    for units, crs in _anyhow(seen):
        try:
            told = ReadOptions(ducts=ducts, vaults=vaults, units=units, crs=crs)
            return read_survey(file, told, forgiving=True)
        except InputRefusedError:
            pass  # what it needs to be told stands in the job as something to fill in
    return None


def _anyhow(seen: Peek) -> Iterator[tuple[str | None, str | None]]:
    """Give what unit and system to read a file by; where it says neither, any do to see which duct meets which vault."""
    yield None, None
    if seen.units is None and seen.crs is None:
        x0, y0, x1, y1 = seen.extents or (0.0, 0.0, 0.0, 0.0)
        in_degrees = max(abs(x0), abs(x1)) <= 180.0 and max(abs(y0), abs(y1)) <= 90.0
        yield (None, "EPSG:4326") if in_degrees else ("ft", None)


def _layer_lines(seen: Peek, what: str) -> Iterator[str]:
    layers = [g for g in seen.guesses if g.what == what]
    blocks = [g for g in seen.guesses if g.what == f"{what} by block"]
    fields = [g for g in seen.guesses if g.what.startswith(f"{what}.")]
    for guess in layers:
        yield f"# {what}: layer {_flat(guess.name)}, because {_flat(guess.reason)}"
    for guess in blocks:
        yield f"# {what}: block {_flat(guess.name)}, because {_flat(guess.reason)}"
    for guess in fields:
        yield f"# {guess.what}: {_flat(guess.name)}, because {_flat(guess.reason)}"
    if what == "vaults" and not layers and _without_structures(seen):
        yield "# vaults: the file holds no structures; the ends of its alignments are taken for vaults"
        return
    names = [_quoted(g.name) for g in layers or blocks] or [_quoted(FILL_IN)]
    chosen = names[0] if len(names) == 1 else f"[{', '.join(names)}]"
    mapped = "".join(f", {g.what.split('.', 1)[1]} = {_quoted(g.name)}" for g in fields)
    yield f"{what} = {{ {'block' if blocks and not layers else 'layer'} = {chosen}{mapped} }}"
    if not layers and not blocks:
        there = ", ".join(_flat(p.name) for p in seen.layers[:40])
        yield f"# no layer's name says which holds the {what}; there are: {there}"
        if what == "vaults":
            yield "# where no vault is drawn yet leave the line out, and let [vaults] below propose some"


def _without_structures(seen: Peek) -> bool:
    """Whether a file holds alignments and nothing that could be a vault."""
    return seen.format.startswith("LandXML") and not any("Struct" in p.kinds for p in seen.layers)


def _unit_lines(seen: Peek) -> Iterator[str]:
    in_a_plane = seen.format.startswith(("DXF", "LandXML"))
    if seen.units is None and seen.crs is None and not in_a_plane and not seen.format.endswith("schedule"):
        # of a layer one of the two says all: a coordinate reference system has its unit
        yield f"crs = {_quoted(FILL_IN)}                   # such as EPSG:2287; it says the unit too"
        if any("does not say" in text for text in seen.missing):
            yield '# units = "us_survey_foot"        # in place of crs, where the numbers lie in a plane of their own'
    else:
        if seen.units is None:
            yield f"units = {_quoted(FILL_IN)}                 # such as us_survey_foot, foot or metre"
        else:
            yield f"# units: {_flat(seen.units)}, as the file says"
        if seen.crs is not None:
            yield f"# crs: {_flat(seen.crs)}, as the file says"
        elif in_a_plane:
            yield '# crs = "EPSG:2287"               # state it to have the results on the map'
    for text in seen.missing:
        yield f"# {_flat(text)}"


def _elevation_lines(seen: Peek, survey: Survey | None) -> Iterator[str]:
    """Say in what unit elevations are; where the file cannot be asked, the guess is written for a person to correct."""
    if seen.elevation_units is not None:
        yield f"# elevation_units: {_flat(seen.elevation_units)}, as the file says"
    for guess in seen.guesses:
        if guess.what == "elevation_units":
            none = survey is not None and not _elevations(survey)
            yield f"# elevation_units: {_flat(guess.name)}, because {_flat(guess.reason)}"
            yield f"{'# ' if none else ''}elevation_units = {_quoted(guess.name)}            # or ft, us_survey_foot, ..."


def _elevations(survey: Survey) -> bool:
    """Whether anything in a file is an elevation."""
    return any(d.elevated for d in survey.ducts) or any(
        v.invert is not None or v.rim is not None for v in survey.vaults
    )


def _sweep_lines(survey: Survey | None, example: str) -> Iterator[str]:
    sharp = 0 if survey is None else sum(f.code == "sharp-corner" for f in survey.findings)
    if sharp:
        yield f"# sweep: {sharp} line{'s have' if sharp > 1 else ' has'} corners drawn sharp, and what they are built with is not drawn"
        yield f'sweep = "{FILL_IN}"                 # their radius, such as "{example}"'
    else:
        yield f'# sweep = "{example}"               # radius given to corners that are drawn sharp'


def _feeder_lines(survey: Survey | None) -> Iterator[str]:
    tags = [] if survey is None else [v.tag for v in survey.vaults]
    ducts: dict[str, int] = {}
    for duct in () if survey is None else survey.ducts:
        for tag in (duct.start_vault, duct.end_vault):
            if tag is not None:
                ducts[tag] = ducts.get(tag, 0) + 1
    ends = [tag for tag, count in ducts.items() if count == 1]
    if tags:
        more = f", and {len(tags) - _TOLD} more" if len(tags) > _TOLD else ""
        yield f"# vaults: {', '.join(_flat(t) for t in tags[:_TOLD])}{more}"
    for finding in () if survey is None else [f for f in survey.findings if f.code == "repeated-tag"][:_TOLD]:
        yield f"# {_flat(finding.message)}; a feeder or a pull must name it so"
    if len(ends) == 2:
        yield "# feeder: these two, because they are the only vaults at which a single duct ends"
        yield f"feeder = [{_quoted(ends[0])}, {_quoted(ends[1])}]"
    else:
        yield '# feeder = ["...", "..."]         # for tautline plan: the first and the last vault'


def _duct_lines(seen: Peek, survey: Survey | None) -> Iterator[str]:
    yield "[duct]                            # what a span has where its own fields say nothing"
    said = any(g.what in ("ducts.size", "ducts.inside_diameter") for g in seen.guesses)
    if survey is not None and survey.ducts:
        said = all((d.fields.size and d.fields.type) or d.fields.inside_diameter for d in survey.ducts)
    if said:
        yield '# trade_size = "5"'
        yield '# type = "PVC 40"'
    else:
        yield f'trade_size = "{FILL_IN}"            # such as "5"'
        yield f'type = "{FILL_IN}"                  # such as "PVC 40"; or, in place of both, inside_diameter'


def _from(job: Path, file: Path) -> str:
    """Return how the job file names the drawing."""
    try:
        return Path(os.path.relpath(file.resolve(), job.resolve().parent)).as_posix()
    except ValueError:  # on another drive
        return file.resolve().as_posix()


def _quoted(text: str) -> str:
    """Return a TOML string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _flat(text: str) -> str:
    """Return text from a file so that it cannot leave its comment."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())

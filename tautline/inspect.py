"""``tautline inspect``: what is in a drawing or layer, and what it looks like once read."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from mechanics.units import System, show
from routeio.findings import Finding, InputRefusedError, place_text
from routeio.peeking import Peek
from routeio.summary import SMALL, Summary, summarise
from routeio.survey import Duct, Ground, Survey
from tautline.deliver.present import count
from tautline.errors import OutputError, UsageError
from tautline.inspection import Inspection, units_read
from tautline.survey_bends import laid

SCHEMA = "tautline-inspection/1"

_SHOWN = 30  # rows of a list before the rest is only counted
_WIDTH = 110


def as_text(found: Inspection) -> str:
    """Return an inspection for a person to read.

    Parameters
    ----------
    found : Inspection
        Of a file.

    Returns
    -------
    str
        Lines of text.
    """
    seen = found.peek
    lines = [
        f"{seen.file}: {seen.format}",
        f"units: {_stated(found.told.units, seen.units)}",
        f"coordinate system: {_stated(found.told.crs, seen.crs)}",
        f"elevations: {_elevation_unit(found)}",
    ]
    if seen.extents is not None:
        x0, y0, x1, y1 = seen.extents
        lines.append(f"extents in file units: x {x0:,.2f} to {x1:,.2f}, y {y0:,.2f} to {y1:,.2f}")
    lines += ["", "LAYERS", *_layers(seen)]
    if seen.missing:
        lines += ["", "WHAT THE FILE DOES NOT SAY"]
        for text in seen.missing:
            lines += _wrap(text)
    if found.survey is not None:
        summary = summarise(found.survey)
        system = units_read(seen, found.survey)
        lines += ["", "AS READ", *_summary(summary, system), "", "DUCTS", *_ducts(found.survey, system)]
        lines += [
            "",
            "VAULTS",
            *_vaults(found.survey),
            "",
            "FINDINGS",
            *_findings(summary, found.survey.ground),
        ]
    return "\n".join(lines) + "\n"


def as_json(found: Inspection) -> str:
    """Return an inspection as JSON text, in metres and radians.

    Parameters
    ----------
    found : Inspection
        Of a file.

    Returns
    -------
    str
        One object, its ``schema`` is :data:`SCHEMA`.
    """
    seen, survey, refusal = found.peek, found.survey, found.refusal
    plain: dict[str, Any] = {
        "schema": SCHEMA,
        "file": seen.file,
        "format": seen.format,
        "units": seen.units,
        "crs": seen.crs,
        "elevation_units": seen.elevation_units,
        "extents_file_units": seen.extents,
        "layers": [
            {"name": p.name, "kinds": dict(p.kinds), "fields": p.fields, "blocks": p.blocks, "crs": p.crs}
            for p in seen.layers
        ],
        "missing": seen.missing,
        "guesses": [{"what": g.what, "name": g.name, "reason": g.reason} for g in seen.guesses],
        "refused": None if refusal is None else {"code": refusal.code, "message": str(refusal)},
        "ducts": [],
        "vaults": [],
        "findings": [],
    }
    if survey is not None:
        plain["ducts"] = [
            {
                "id": d.id,
                "from": d.start_vault,
                "to": d.end_vault,
                "length_m": d.chain.total_length,
                "segments": len(d.chain),
                "turn_rad": float(abs(d.chain.turn).sum()),
                "elevated": d.elevated,
                "elevation_from": d.elevation_from,
                "vertices": len(d.vertices),
                "bends": _plain_bends(d),
            }
            for d in survey.ducts
        ]
        plain["vaults"] = [
            {"tag": v.tag, "x": v.x, "y": v.y, "z": v.z, "kind": v.kind} for v in survey.vaults
        ]
        plain["findings"] = [_plain(f) for f in survey.findings]
    elif refusal is not None:
        plain["findings"] = [_plain(f) for f in refusal.findings]
    return json.dumps(plain, indent=1, allow_nan=False) + "\n"


def write_inspection(found: Inspection, path: Path) -> None:
    """Write the drawing as it was understood as a picture.

    Parameters
    ----------
    found : Inspection
        With a survey.
    path : Path
        The file; ``.svg`` or ``.png``.

    Raises
    ------
    OutputError
        It would take the place of the file inspected, or could not be written.
    ValueError
        There is no survey to draw.
    """
    from tautline.deliver.picture_file import save
    from tautline.deliver.survey_picture import SurveyPicture

    if found.survey is None:
        raise ValueError("the file was refused: there is nothing to draw")
    if path.resolve() == Path(found.survey.file).resolve():
        raise OutputError(path, "it is the file inspected; name another")
    picture = SurveyPicture(found.survey, units_read(found.peek, found.survey))
    svg, height = picture.render()
    save(svg, picture.width, height, path)


def refuse_unwritable(path: Path) -> None:
    """Refuse a file that what was read cannot be written to, before any work is done.

    Parameters
    ----------
    path : Path
        As named by ``--write``.

    Raises
    ------
    UsageError
        An ending that no writer has.
    OutputError
        It is there already.
    """
    from routeio.write import WRITERS

    if path.suffix.lower() not in WRITERS:
        raise UsageError(f"--write must end in {' or '.join(WRITERS)}, got {path}")
    if path.exists():
        raise OutputError(path, "it is there already; move it away or name another with --write")


def unfit_to_write(survey: Survey) -> InputRefusedError | None:
    """Return why what was read is not to be written: to be looked at, a sharp corner is drawn with a bend that is none.

    Parameters
    ----------
    survey : Survey
        As read for looking at.

    Returns
    -------
    InputRefusedError or None
        ``sharp-corner``: the first of them, where no sweep was stated.
    """
    sharp = [f for f in survey.findings if f.code == "sharp-corner"]
    if not sharp:
        return None
    more = f" (and {len(sharp) - 1} more lines with such corners)" if len(sharp) > 1 else ""
    unit = (survey.ground.unit, survey.ground.metres_per_unit)
    return InputRefusedError(
        "sharp-corner", f"not written: {sharp[0].message}{more}", sharp[0].where, sharp[0].remedy, (), unit
    )


def write_read(survey: Survey, path: Path) -> None:
    """Write what was read, as a drawing or a GeoPackage of its own.

    Parameters
    ----------
    survey : Survey
        As read.
    path : Path
        A new file ending in ``.dxf`` or ``.gpkg``.

    Raises
    ------
    OutputError
        It is there already, or could not be written.
    """
    from routeio.write import write_survey

    try:
        write_survey(survey, path)
    except FileExistsError as error:
        raise OutputError(path, "it is there already; move it away or name another with --write") from error
    except OSError as error:
        raise OutputError(path, f"{error.strerror or error}; name another place with --write") from error


def _stated(told: str | None, own: str | None) -> str:
    return f"{told}, as stated" if told else own or "not stated in the file"


def _elevation_unit(found: Inspection) -> str:
    """Say in what unit elevations are taken, and why."""
    guess = next((g for g in found.peek.guesses if g.what == "elevation_units"), None)
    if found.told.elevation_units:
        return f"{found.told.elevation_units}, as stated"
    if found.peek.elevation_units:
        return f"{found.peek.elevation_units}, as the file says"
    if guess is not None:
        return f"taken in {guess.name}, because {guess.reason}"
    return "in the horizontal unit"


def _layers(seen: Peek) -> Iterator[str]:
    wide = max((len(p.name) for p in seen.layers), default=0)
    for layer in seen.layers:
        kinds = ", ".join(f"{n if n >= 0 else '?'} {kind}" for kind, n in layer.kinds.items())
        yield f"  {layer.name:<{wide}}  {kinds}"
        for guess in seen.guesses:
            if guess.name == layer.name and "." not in guess.what:
                yield f"  {'':<{wide}}  taken for {guess.what}: {guess.reason}"
            if guess.what == "vaults by block" and guess.name in layer.blocks:
                yield f"  {'':<{wide}}  block {guess.name} taken for vaults: {guess.reason}"
        if layer.fields:
            named = {g.name: g.what for g in seen.guesses if "." in g.what}
            fields = ", ".join(f + (f" ({named[f]})" if f in named else "") for f in layer.fields)
            yield from _wrap(f"fields: {fields}", f"  {'':<{wide}}  ")


def _summary(s: Summary, system: System) -> Iterator[str]:
    read = count(s.read, "entity or feature", "entities or features")
    yield f"  {read} read, {s.skipped:,} skipped with a reason"
    yield (
        f"  {count(s.ducts, 'duct')}, {show(s.length, 'length', system)} in all, {s.loose} with an end at no vault, "
        f"{s.elevated} with elevations"
    )
    tightest = ""
    if s.least_radius is not None:
        # a radius of millimetres is no radius of nothing
        decimals = 3 if s.least_radius < SMALL else None
        tightest = f", the tightest {show(s.least_radius, 'length', system, decimals)} in radius"
    if s.cramped:
        tightest += f", {count(s.cramped, 'corner')} without room for the sweep"
    turn = f"{math.degrees(s.total_turn):,.0f} deg in all"
    yield f"  {count(s.bends, 'bend')}{tightest}; turns of {turn}" if s.bends else "  no bends"
    hows = ", ".join(f"{n} {how}" for how, n in s.origins.items())
    yield f"  segments: {hows or 'none'}"
    yield f"  {count(s.vaults, 'vault')}, {s.isolated} that no duct meets, {s.untagged} without a tag of their own"


def _ducts(survey: Survey, system: System) -> Iterator[str]:
    rows = [
        (
            d.id,
            f"{d.start_vault or '(loose)'} - {d.end_vault or '(loose)'}",
            show(d.chain.total_length, "length", system),
            f"{math.degrees(abs(d.chain.turn).sum()):.0f} deg",
            _tightest(d, system) if i < _SHOWN else "",
            " ".join(x for x in (d.fields.size, d.fields.type) if x),
        )
        for i, d in enumerate(survey.ducts)
    ]
    yield from _columns(rows)


def _tightest(duct: Duct, system: System) -> str:
    """Return the smallest radius of a duct's bends in plan; empty where it has none."""
    radii = [bend.radius for bend in laid(duct)[1]]
    return f"R {show(min(radii), 'length', system)}" if radii else ""


def _vaults(survey: Survey) -> Iterator[str]:
    scale = survey.ground.metres_per_unit
    rows = [
        (
            v.tag,
            f"{v.x / scale:z,.2f}, {v.y / scale:z,.2f}",
            "" if v.z is None else f"invert {v.z / (survey.ground.metres_per_elevation or scale):,.2f}",
            v.kind,
        )
        for v in survey.vaults
    ]
    yield from _columns(rows)


def _columns(rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    if not rows:
        yield "  none"
        return
    shown = rows[:_SHOWN]
    wide = [max(len(row[k]) for row in shown) for k in range(len(shown[0]))]
    for row in shown:
        yield ("  " + "  ".join(f"{cell:<{w}}" for cell, w in zip(row, wide, strict=True))).rstrip()
    if len(rows) > _SHOWN:
        yield f"  and {len(rows) - _SHOWN} more; --json has them all"


def _findings(summary: Summary, ground: Ground) -> Iterator[str]:
    unit = (ground.unit, ground.metres_per_unit)
    if not summary.kinds:
        yield "  none"
    for kind in summary.kinds:
        first = kind.first
        layer = first.where.layer and f"layer {first.where.layer}"
        place = ", ".join(x for x in (layer, first.where.id, place_text(first.where, unit)) if x)
        many = f" ({kind.count} of this kind, the first:)" if kind.count > 1 else ""
        text = f"{kind.severity} {kind.code}:{many} {first.message}{f' ({place})' if place else ''}"
        yield from _wrap(text + (f"; {first.remedy}" if first.remedy else ""))


def _plain_bends(duct: Duct) -> list[dict[str, Any]]:
    return [
        {
            "x": b.middle[0],
            "y": b.middle[1],
            "turn_rad": b.turn,
            "radius_m": b.radius,
            "how": b.how,
            "sigma_turn_rad": b.sigma_turn,
            "sigma_radius_m": b.sigma_radius,
        }
        for b in laid(duct)[1]
    ]


def _plain(finding: Finding) -> dict[str, Any]:
    w = finding.where
    return {
        "code": finding.code,
        "severity": finding.severity,
        "message": finding.message,
        "where": {"file": w.file, "layer": w.layer, "id": w.id, "x": w.x, "y": w.y},
        "remedy": finding.remedy,
    }


def _wrap(text: str, indent: str = "  ") -> list[str]:
    flat = " ".join(text.split())
    return textwrap.wrap(flat, _WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")

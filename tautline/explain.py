"""One pull written out as an engineer would on paper, from the result document alone."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator

from mechanics.units import System, quantity, show
from tautline.deliver.digest import GRADE_UNKNOWN
from tautline.document import Document
from tautline.errors import UsageError
from tautline.explain_bundle import in_each_duct
from tautline.explain_friction import friction_lines, slid
from tautline.explain_reverse import turned
from tautline.explain_segment import Piece, number, work
from tautline.explain_units import Units
from tautline.job_table import nearest

_KINDS = {"N": "force", "N/m": "sidewall", "m": "length", "m2": "area", "rad": "angle", "degC": "temperature"}
_METRIC = (1e-6, "mm2", "N/mm2")
_SAME = 1e-6  # relative; as near as a hand calculation comes to the document
_WIDTH = 110
_SMALL = 3.0  # m; lengths under it are radii and clearances, read in inches or millimetres

_METHOD = """\
A cable of weight w per length that slides along the duct with friction c = friction x weight correction gains
  dT/ds = w sin g + c |T k - w n|     (k curvature, n upward across the duct, g grade, s length)
which for a straight, a level bend, a sag or a crest has the closed forms used below. T1 enters a segment and T2
leaves it; angles are in radians, lengths in {length}, forces in {force}. Sidewall pressure is p = q T / (R - D/2), q
the factor of the arrangement, R the radius of the centreline, D the inside diameter of the duct (0 on guides)."""


def find_pull(document: Document, name: str) -> Document:
    """Return a pull of a result document.

    Parameters
    ----------
    document : dict
        A result document.
    name : str
        Its number, counted from 1 in the order of the document, or ``FEED:PULL``; with feed and pull the other way
        about, the other way of a pull.

    Returns
    -------
    dict
        The pull.

    Raises
    ------
    UsageError
        No such pull; the message lists those there are.
    """
    pulls = _all_pulls(document)
    names = [f"{p['feed']}:{p['pull']}" for p in pulls]
    if name.isdecimal() and 1 <= int(name) <= len(pulls):
        return pulls[int(name) - 1]
    if name in names:
        return pulls[names.index(name)]
    back = [f"{p['pull']}:{p['feed']}" for p in pulls]
    if name in back:
        return turned(pulls[back.index(name)])
    listed = ", ".join(f"{i} {n}" for i, n in enumerate(names[:20], 1)) + (", ..." if len(names) > 20 else "")
    raise UsageError(
        f'there is no pull "{name}" in this result{nearest(name, names)}; it has {listed or "none"}'
    )


def explain(document: Document, pull: Document) -> str:
    """Write one pull out as a hand calculation.

    Parameters
    ----------
    document : dict
        A result document.
    pull : dict
        One of its pulls.

    Returns
    -------
    str
        Lines of text, in feet and pounds-force or in metres and newtons, as the job has it.
    """
    units = Units.of(document["job"]["units"])
    lines = [
        f"PULL {pull['feed']} -> {pull['pull']}   {document['job']['name']}",
        "",
        *_head(document, pull, units),
        "",
        "METHOD",
        *textwrap.indent(_method(units), "  ").splitlines(),
        "",
        "THE BUNDLE IN ITS DUCTS",
        *in_each_duct(document, pull, units),
        "",
        "TENSION, SEGMENT BY SEGMENT",
        *_segments(pull, units),
        "",
        "CHECKS",
        *_checks(document, pull, units.system),
        "",
        "LUBRICANT",
        *_lubricant(pull, units.system),
    ]
    warned = _warnings(document, pull)
    if warned:
        lines += ["", "NEEDS ATTENTION", *_wrapped(warned)]
    if pull["notes"]:
        lines += ["", "NOTES", *_wrapped(pull["notes"])]
    if document["assumptions"]:
        lines += ["", "ASSUMED", *_wrapped(document["assumptions"])]
    if document["overrides"]:
        lines += ["", "OVERRIDDEN BY THE JOB", *_wrapped(document["overrides"])]
    lines += ["", "CAUTIONS", *_wrapped(document["cautions"])]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _warnings(document: Document, pull: Document) -> list[str]:
    """Return what is doubtful about the ground that a pull stands on: its own grade, and findings on its ducts."""
    said = []
    if any(z is None for z in pull["profile"]["elevation_m"]):
        said.append(f"{GRADE_UNKNOWN[0].upper()}{GRADE_UNKNOWN[1:]}.")
    tags = {pull["feed"], pull["pull"], *(p["tag"] for p in pull["passes"])}
    spans = {s["duct"] for s in document["route"] if s["from"] in tags and s["to"] in tags}
    for finding in document["findings"]:
        where = finding["where"]["id"]
        # one without an id speaks of the whole drawing
        if finding["severity"] in ("warning", "error") and (not where or where in tags or where in spans):
            remedy = f" Remedy: {finding['remedy']}." if finding["remedy"] else ""
            said.append(f"{finding['severity']} [{finding['code']}]: {finding['message']}.{remedy}")
    return said


def _all_pulls(document: Document) -> list[Document]:
    if document["command"] == "check":
        return list(document["pulls"])
    sections = document["sections"] or (document["no_plan"] or {}).get("partial", [])
    return [pull for section in sections for pull in section["pulls"]]


def _method(units: Units) -> str:
    names = {"ft": "feet", "m": "metres", "lbf": "pounds-force", "N": "newtons"}
    return _METHOD.format(length=names[units.length_name], force=names[units.force_name])


def _head(document: Document, pull: Document, units: Units) -> Iterator[str]:
    """Say what is pulled, how it lies, and what tension it starts with."""
    for count, cable in _counted(document["bundle"]["cables"]):
        area = cable["conductor_area_m2"]
        conductor = f", {cable['material']} {show(area, 'area', units.system)}" if area else ""
        yield (
            f"  {_cables(count)}{' ' + cable['name'] if cable['name'] else ''}: "
            f"diameter {units.told_diameter(cable['diameter_m'])}, "
            f"weight {units.told_per_length(cable['weight_N_per_m'])} each, {cable['construction']}{conductor}"
        )
    wet = " (in air; less in the ducts under water)" if "weight_N_per_m" in pull["segments"] else ""
    yield (
        f"  bundle weight w = {units.told_per_length(pull['weight_N_per_m'])}{wet}, arrangement {pull['arrangement']}"
    )
    yield f"  length {units.told_length(pull['length_m'])}"
    if pull["passes"]:
        stops = [
            f"{p['tag']} at {units.told_length(p['station_m'])}{' (re-lubricated)' if p['tag'] in pull['relube'] else ''}"
            for p in pull["passes"]
        ]
        yield from textwrap.wrap(
            "passes " + ", ".join(stops), _WIDTH, initial_indent="  ", subsequent_indent="    "
        )
    entry: float = pull["entry_tension_N"]
    holding: float = pull["holding_tension_N"]
    yield f"  entry tension T0 = {units.told_force(entry)}"
    least = min(pull["profile"]["tension_N"])
    station = pull["profile"]["station_m"][pull["profile"]["tension_N"].index(least)]
    if holding > 0:
        yield (
            f"  of which {units.told_force(holding)} at least must be held at the reel: with it the tension is lowest, "
            f"{units.force(least)} {units.force_name}, at {units.told_length(station)}, and the cable stays taut"
        )
    else:
        pushed = pull["entry_tension_N"] < 0
        yield "  no holding back is needed" + (
            ": the cable is pushed in, and below zero only by that"
            if pushed
            else ": the tension is nowhere below zero"
        )
    brake = pull.get("brake_tension_N", holding)
    if brake > holding:
        yield f"  the brake has to give {units.told_force(brake)}: friction may turn out lower than expected"


def _cables(count: int) -> str:
    """Return a number of cables in words."""
    return f"{count} cable" + ("s" if count > 1 else "")


def _counted(cables: list[Document]) -> list[tuple[int, Document]]:
    """Return each different cable with how many there are."""
    kinds: list[tuple[int, Document]] = []
    for cable in cables:
        for i, (count, known) in enumerate(kinds):
            if known == cable:
                kinds[i] = (count + 1, known)
                break
        else:
            kinds.append((1, cable))
    return kinds


def _segments(pull: Document, units: Units) -> Iterator[str]:
    """Work every segment from the tension the one before it was left with."""
    segments, profile = pull["segments"], pull["profile"]
    weights = segments.get("weight_N_per_m", [pull["weight_N_per_m"]] * len(segments["length_m"]))
    way = slid(pull)
    tension, worst = pull["entry_tension_N"] / units.force_unit, 0.0
    largest = max(map(abs, profile["tension_N"])) / units.force_unit
    vaults = {round(p["station_m"], 6): p["tag"] for p in pull["passes"]}
    for i, length in enumerate(segments["length_m"]):
        tag = vaults.pop(round(profile["station_m"][i], 6), None)
        if tag is not None:
            yield f"  -- at {tag}{', re-lubricated' if tag in pull['relube'] else ''} --"
        piece = Piece(
            length / units.length_unit,
            segments["grade_in_rad"][i],
            segments["grade_out_rad"][i],
            segments["turn_rad"][i],
            weights[i] * units.length_unit / units.force_unit,
            segments["friction"][i],
            segments["weight_correction"][i],
        )
        worked = work(piece, tension)
        yield f"  {i + 1}. {_title(piece, segments, i, units)}"
        for line in friction_lines(segments, i, way, units):
            yield "     " + line
        wet = f", w = {number(piece.weight)} in water" if weights[i] != pull["weight_N_per_m"] else ""
        yield (
            f"     L = {number(piece.length)}, c = {number(piece.friction)} x {number(piece.correction)} = "
            f"{number(piece.c)}{wet}, T1 = {number(tension)}"
        )
        for line in worked.lines:
            yield "     " + line
        tension = worked.tension
        added = segments["added_N"][i] / units.force_unit
        if added:
            yield f"     an assist here: T2 = {number(tension)} + ({number(added)})"
            tension += added
        yield f"     T2 = {units.told_force(tension * units.force_unit)}"
        yield from _sidewall(pull, piece, i, units)
        stated = profile["tension_N"][i + 1] / units.force_unit
        apart = abs(tension - stated) / max(1.0 / units.force_unit, abs(stated), 1e-3 * largest)
        worst = max(worst, apart)
        if apart > _SAME:
            yield f"     THE DOCUMENT SAYS {units.told_force(profile['tension_N'][i + 1])} HERE"
        tension = stated if apart > _SAME else tension
    yield (
        f"  exit tension {units.told_force(pull['exit_tension_N'])}; "
        f"greatest on the way {units.told_force(pull['max_tension_N'])}"
    )
    if worst <= _SAME:
        yield f"  every T2 above agrees with the result document to {_SAME:g}"
    else:
        yield f"  NOT EVERY T2 ABOVE AGREES WITH THE RESULT DOCUMENT: apart by up to {worst:.2g} of the tension"


def _title(piece: Piece, segments: Document, i: int, units: Units) -> str:
    parts = [piece.kind]
    if abs(piece.turn) > 0:
        parts.append(f"{math.degrees(abs(piece.turn)):.4g} deg")
    if piece.grade_in or piece.grade_out:
        one, other = math.degrees(piece.grade_in), math.degrees(piece.grade_out)
        parts.append(f"grade {one:.4g} deg" + (f" to {other:.4g} deg" if one != other else ""))
    if piece.radius is not None:
        parts.append(f"R {number(piece.radius)} {units.length_name}")
    inside = segments["inside_diameter_m"][i]
    parts.append("on guides" if segments["guide"][i] else f"duct {units.told_diameter(inside)} inside")
    if segments["id"][i]:
        parts.append(f"{segments['how'][i]} {segments['id'][i]}".strip())
    return ", ".join(parts)


def _sidewall(pull: Document, piece: Piece, i: int, units: Units) -> Iterator[str]:
    pressure = pull["profile"]["sidewall_N_per_m"][i + 1]
    if piece.radius is None or not pressure > 0:
        return
    half = (pull["segments"]["inside_diameter_m"][i] or 0.0) / 2 / units.length_unit
    factor = pull["segments"]["sidewall_factor"][i]
    entering, leaving = pull["profile"]["tension_N"][i : i + 2]
    # pushed or pulled, the cable presses as hard
    greatest = max(abs(entering), abs(leaving - pull["segments"]["added_N"][i])) / units.force_unit
    found = factor * greatest / (piece.radius - half)
    yield (
        f"     sidewall p = {number(factor)} x {number(greatest)} / ({number(piece.radius)} - {number(half)}) = "
        f"{number(found)} {units.force_name}/{units.length_name}"
    )
    stated = pressure * units.length_unit / units.force_unit
    if abs(found - stated) > _SAME * stated:
        yield f"     the document says {units.told_per_length(pressure)}: the greatest on the segment"


def _checks(document: Document, pull: Document, system: System) -> Iterator[str]:
    for check in pull["checks"]:
        name = check["name"].replace("_", " ")
        verdict = check["verdict"].upper() if check["binding"] else f"advice, {check['verdict']}"
        said = f"{name}: {_valued(check['value'], check['unit'], system)}"
        if check["limit"] is not None:
            said += f" against {_valued(check['limit'], check['unit'], system)}"
        if check["utilisation"] is not None:
            said += f", {100 * check['utilisation']:.1f} %"
        if check["station_m"] is not None:
            said += f", at {Units.of(system).told_length(check['station_m'])}"
        if check["name"] == "conductor_tension" and check["limit"] is not None and not check["overridden"]:
            said += f" ({_stress(document, check['limit'], system)})"
        source = f"{'stated by the job; ' if check['overridden'] else ''}{check['source']}"
        yield from textwrap.wrap(
            f"{said}: {verdict} [{source}]", _WIDTH, initial_indent="  ", subsequent_indent="    "
        )
    yield f"  verdict: {pull['verdict'].upper()}, governed by {pull['governs'].replace('_', ' ') or 'nothing'}"


def _stress(document: Document, limit: float, system: System) -> str:
    """Say what a limit on the conductors comes to for their cross-section."""
    areas = [c["conductor_area_m2"] for c in document["bundle"]["cables"] if c["role"] == "power"]
    total = math.fsum(area or 0.0 for area in areas)
    unit, name, stress = (quantity("1 kcmil", "area"), "kcmil", "lbf/kcmil") if system == "us" else _METRIC
    units = Units.of(system)
    return (
        f"{number(limit / units.force_unit / (total / unit))} {stress} x {_cables(len(areas))} x "
        f"{number(total / unit / len(areas))} {name}"
    )


def _valued(value: float | None, unit: str, system: System) -> str:
    if value is None:
        return "not computed"
    kind = _KINDS.get(unit)
    if kind == "length" and abs(value) < _SMALL:
        kind = "diameter"
    plain = f"{number(value)}{'' if unit in ('', '1') else ' ' + unit}"
    if kind is None:
        return plain
    shown = show(value, kind, system)
    return f"{shown} ({plain})" if system == "us" else f"{plain} ({shown})"


def _lubricant(pull: Document, system: System) -> Iterator[str]:
    plan = pull["lubricant"]
    if plan is None:
        yield "  planned for the way that was chosen, not for this one"
        return
    yield f"  {_volume(plan['total_L'], system)} in all, grade {plan['grade']}"
    for at in plan["at"]:
        yield from textwrap.wrap(
            f"{at['vault']}: {_volume(at['litres'], system)}, {at['how']}",
            _WIDTH,
            initial_indent="  ",
            subsequent_indent="    ",
        )
    yield from _wrapped(plan["notes"])


def _volume(litres: float, system: System) -> str:
    return (
        f"{show(litres, 'volume', system)} ({number(litres)} L)" if system == "us" else f"{number(litres)} L"
    )


def _wrapped(sentences: list[str]) -> Iterator[str]:
    for sentence in sentences:
        yield from textwrap.wrap(sentence, _WIDTH, initial_indent="  - ", subsequent_indent="    ")

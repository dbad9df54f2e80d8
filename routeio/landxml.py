"""The LandXML reader: alignments with their profiles as ducts, structures as vaults, everything else counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely
from lxml import etree

from mechanics.errors import FloatArray
from routeio.bulges import leg_lengths
from routeio.crs import of_drawing, placing
from routeio.findings import Finding, InputRefusedError, Where
from routeio.ground import UNITS, extents_in_units, unit_named
from routeio.landxml_networks import can_be_ducts, network_of, pipes, structures
from routeio.landxml_plan import Reading, plan_of
from routeio.landxml_profile import profile_of
from routeio.landxml_tree import ENTITIES, Measures, east_north, measures, name_of, named, numbers, opened
from routeio.layers import chosen
from routeio.options import ReadOptions
from routeio.rawlines import RawLine, RawSurvey, RawVault, StatedProfile
from routeio.survey import DuctFields, Ground


def read(path: Path, options: ReadOptions) -> RawSurvey:
    """Read alignments and structures.

    Parameters
    ----------
    path : Path
        LandXML 1.0 to 1.2, or a national variant of it.
    options : ReadOptions
        ``ducts`` names alignments, and in its field ``profile`` one of their profiles, or networks of pipes; ``vaults``
        names networks.

    Returns
    -------
    RawSurvey
        In metres. Ends at no structure are vaults of their own.

    Raises
    ------
    InputRefusedError
        ``damaged-xml``, ``no-units``, ``spiral-not-clothoid``, ``element-unreadable``, ``missing-layer`` and the like.
    """
    where = Where(file=path.name)
    root = opened(path)
    if options.ducts.where or options.vaults.where:
        raise InputRefusedError(
            "no-filter-here", "LandXML has no attributes to filter by", where, "choose alignments by layer"
        )
    told = measures(root, where)
    layers = layers_of(root)
    alignments = dict(alignments_of(root))
    networks = {name: kinds["Struct"] for name, kinds in layers.items() if kinds["Struct"]}
    usable = {name: 1 for name, a in alignments.items() if next(named(a, "CoordGeom"), None) is not None}
    usable = can_be_ducts(usable, layers, told=bool(options.ducts.patterns))
    if not usable:
        raise InputRefusedError(
            "nothing-to-read", "the file holds no alignment with a course (CoordGeom), and no network of pipes", where,
            "export alignments or networks, not surfaces or points alone",
        )  # fmt: skip
    ducts, findings = chosen("ducts", options.ducts, usable, where, required=True)
    vaults, more = chosen("vaults", options.vaults, networks, where, required=False)
    if not options.vaults.patterns:  # pipes end at the structures they name, whatever their network is called
        vaults = tuple(dict.fromkeys((*vaults, *(name for name in ducts if name in networks))))
    said = [*findings, *more]
    unit = _unit(root, told, options, where, said)
    elevation = (
        unit_named(options.elevation_units, "elevation_units") if options.elevation_units else told.elevation
    )
    up = UNITS[elevation or unit]
    marks, structs = structures(root, vaults, ducts, UNITS[unit], where)
    lines, piped, found = pipes(root, ducts, (UNITS[unit], up), where)
    said += found
    profiles: dict[str, StatedProfile] = {}
    counts: Counter[str] = Counter()
    counts["read Struct"] += structs
    counts += piped
    points = _points(root, UNITS[unit])
    for name in (name for name in ducts if name in alignments):
        place = replace(where, layer=name, id=name)
        reading = Reading(UNITS[unit], options.chord_tolerance, points, told.direction, place)
        plan = plan_of(alignments[name], reading)
        if plan is None:
            continue
        said += plan.findings
        counts.update(plan.counts)
        vertices, bulge = np.array(plan.points), np.array(plan.bulge)
        place = replace(place, x=float(vertices[0, 0]), y=float(vertices[0, 1]))
        length = float(leg_lengths(vertices, bulge).sum())
        profile, found, read_profiles = profile_of(
            alignments[name], options.ducts.fields.get("profile"), (UNITS[unit], up), length, options.chord_tolerance,
            place,
        )  # fmt: skip
        said += found
        said += _equations(alignments[name], place)
        counts["read ProfAlign"] += read_profiles
        vertices[:, 2] *= up / UNITS[unit]
        if profile is not None:
            profiles[name] = profile
            vertices[:, 2] = np.nan
        recorded = numbers(alignments[name].get("length"))
        fields = DuctFields(
            recorded_length=float(recorded[0]) * UNITS[unit]
            if recorded.size == 1 and 0.0 < recorded[0] < 1e9
            else None
        )
        lines.append(RawLine(vertices, bulge, tuple(plan.ids), True, fields, place))
    marks += _ends(lines, marks, options.snap, where, said)
    ground = _ground(root, unit, elevation, options, lines, where, said)
    _count_the_rest(layers, counts, where, said)
    return RawSurvey(
        tuple(lines),
        tuple(marks),
        ground,
        tuple(said),
        dict(+counts),
        {name: dict(kinds) for name, kinds in layers.items()},
        profiles=profiles,
    )


def alignments_of(root: etree._Element) -> Iterator[tuple[str, etree._Element]]:
    """Give the alignments of a file by name; names that stand twice are numbered.

    Parameters
    ----------
    root : lxml element
        ``LandXML``.

    Yields
    ------
    tuple of str and lxml element
        In the order of the file.
    """
    seen: Counter[str] = Counter()
    for element in root.iter():
        if name_of(element) == "Alignment":
            name = " ".join((element.get("name") or "").split()) or "alignment"
            seen[name] += 1
            yield (name if seen[name] == 1 else f"{name}#{seen[name]}"), element


def layers_of(root: etree._Element) -> dict[str, Counter[str]]:
    """Return what a file holds: entities by alignment, by network of structures, else by what they stand in.

    Parameters
    ----------
    root : lxml element
        ``LandXML``.

    Returns
    -------
    dict of str to Counter
        Kinds and counts by layer.
    """
    names = {element: name for name, element in alignments_of(root)}
    layers: dict[str, Counter[str]] = {name: Counter() for name in names.values()}
    for element in root.iter():
        kind = name_of(element)
        if kind not in ENTITIES:
            continue
        layer = next((names[a] for a in element.iterancestors() if a in names), None) or network_of(element)
        layers.setdefault(layer, Counter())[kind] += 1
    return layers


def _unit(
    root: etree._Element, told: Measures, options: ReadOptions, where: Where, said: list[Finding]
) -> str:
    stated = unit_named(options.units, "units", where) if options.units else None
    if stated and told.linear and stated != told.linear:
        said.append(
            Finding(
                "units-overridden", "warning", f"the file says {told.linear}; {stated} is used, as stated", where,
                "correct the file's units, or leave units out",
            )
        )  # fmt: skip
    unit = stated or told.linear
    if unit is None:
        every = [numbers(e.text) for e in root.iter() if name_of(e) in ("Start", "End")]
        places = np.array([e[:2] for e in every if e.size in (2, 3)]).reshape(-1, 2)
        extent = (
            f"; its alignments measure {extents_in_units(places.min(0), places.max(0))}"
            if len(places)
            else ""
        )
        raise InputRefusedError(
            "no-units",
            f"the file does not say its units{extent}",
            where,
            'state units, such as "us_survey_foot" or "m"',
        )
    return unit


def _points(root: etree._Element, metres: float) -> dict[str, FloatArray]:
    found = {}
    for element in root.iter():
        if name_of(element) == "CgPoint" and element.get("name"):
            written = numbers(element.text)
            if written.size in (2, 3):
                found[str(element.get("name"))] = east_north(written) * metres
    return found


def _ends(
    lines: list[RawLine], marks: list[RawVault], snap: float, where: Where, said: list[Finding]
) -> list[RawVault]:
    """Return a mark for each end of an alignment that no structure stands at."""
    made: list[RawVault] = []
    for line in lines:
        for row, word in ((0, "start"), (-1, "end")):
            x, y, _ = line.points[row].tolist()
            point = shapely.Point(x, y)
            if any(
                np.hypot(m.x - x, m.y - y) <= snap
                or (m.footprint is not None and m.footprint.distance(point) <= snap)
                for m in (*marks, *made)
            ):
                continue
            name = f"{line.where.id} {word}"
            made.append(RawVault("", x, y, np.nan, None, {}, replace(line.where, id=name, x=x, y=y)))
    if made:
        said.append(
            Finding(
                "end-as-vault", "info",
                f"no structure stands at {len(made)} ends of alignments: each is taken for a vault, the first called "
                f"V@{made[0].where.id}",
                made[0].where, "export the structures with the alignments, if there are any",
            )
        )  # fmt: skip
    return made


def _equations(alignment: etree._Element, place: Where) -> list[Finding]:
    if next(named(alignment, "StaEquation"), None) is None:
        return []
    return [
        Finding(
            "station-equations", "warning",
            "the alignment has station equations, which are not applied: stations of its profile are taken as distances "
            "from its start",
            place, "check the profile at the far end, or export it without equations",
        )
    ]  # fmt: skip


def _ground(
    root: etree._Element,
    unit: str,
    elevation: str | None,
    options: ReadOptions,
    lines: list[RawLine],
    where: Where,
    said: list[Finding],
) -> Ground:
    system = next(named(root, "CoordinateSystem"), None)
    code = (system.get("epsgCode") or "").strip() if system is not None else ""
    own = f"EPSG:{code}" if code.isdigit() else None
    rotation = numbers(None if system is None else system.get("rotationAngle"))
    if rotation.size and rotation[0] != 0.0:
        said.append(
            Finding(
                "rotation-not-applied", "warning",
                f"the coordinate system is stated as turned by {rotation[0]:g}; the numbers are taken as they are", where,
                "export in the system's own axes",
            )
        )  # fmt: skip
    crs = None
    if options.crs or own:
        try:
            crs = of_drawing(options.crs or own, unit, where)
        except InputRefusedError as refusal:
            if options.crs:
                raise
            if refusal.code == "crs-unit-differs" and not options.units:
                # one of the two is wrong, and with it every length or every place
                raise InputRefusedError(
                    refusal.code,
                    f"the file says that it is in {unit} (linearUnit) and that it is in {own}, which is not in {unit}",
                    where,
                    f'state units: "{unit}" to take its lengths so and leave its system aside, or the unit of {own} to take '
                    "that; or state the right crs",
                ) from refusal
            said.append(Finding(refusal.code, "warning", refusal.message, where, refusal.remedy))
    else:
        said.append(
            Finding(
                "no-crs", "info", f"the file does not say its coordinate reference system; a plane in {unit} is taken",
                where, "state crs to have the results on the map",
            )
        )  # fmt: skip
    if crs is not None and lines:
        every = np.vstack([line.points[:, :2] for line in lines]) / UNITS[unit]
        placed = placing(
            crs, replace(options, units=None, crs=None, project_to=None), every.min(0), every.max(0), where
        )
        said += [f for f in placed.findings if f.code != "reprojected"]
    return Ground(UNITS[unit], unit, crs, None, UNITS[elevation] if elevation else None)


def _count_the_rest(
    layers: Mapping[str, Counter[str]], counts: Counter[str], where: Where, said: list[Finding]
) -> None:
    """Count what was not read, so that everything in the file is one or the other."""
    there: Counter[str] = Counter()
    for kinds in layers.values():
        there.update(kinds)
    told = {kind: counts[f"read {kind}"] + counts[f"skipped {kind}"] for kind in there}
    left = {kind: n - told[kind] for kind, n in there.items() if n > told[kind]}
    for kind, n in left.items():
        counts[f"skipped {kind}"] += n
    if left:
        said.append(
            Finding(
                "entity-unused", "info",
                "not read, because they are no course of a chosen alignment, no structure of a chosen network and no "
                f"profile in use: {', '.join(f'{n} {kind}' for kind, n in left.items())}",
                where, "choose their layers if they belong to the route",
            )
        )  # fmt: skip

"""The one door: a file to a survey, whatever its format."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import TypeGuard

from mechanics.errors import DomainError
from routeio.bulges import line_lengths
from routeio.clean import Cleaned, clean
from routeio.elevation import without_false_zeros
from routeio.exact import exact
from routeio.findings import Finding, InputRefusedError
from routeio.firstbytes import reader_for
from routeio.isolation import in_worker
from routeio.lay import longer_than_drawn
from routeio.leveling import Span, leveled
from routeio.limits import Limits
from routeio.options import ReadOptions, Selection
from routeio.parts import parted
from routeio.rawlines import RawLine, RawSurvey
from routeio.shape import Shape, recover_many
from routeio.stated import as_stated, on_profiles
from routeio.stitch import Joined
from routeio.survey import Duct, ElevationFrom, Survey
from routeio.undisturbed import undisturbed

_OPTION_NAMES = tuple(f.name for f in fields(ReadOptions))


def read_survey(
    path: str | Path,
    options: ReadOptions | None = None,
    *,
    ducts: Selection | str | Sequence[str] | None = None,
    vaults: Selection | str | Sequence[str] | None = None,
    forgiving: bool = False,
    limits: Limits | None = None,
    **others: object,
) -> Survey:
    """Read a drawing or a layer.

    Parameters
    ----------
    path : str or Path
        The file; its ending and its first bytes say the format.
    options : ReadOptions, optional
        Everything a reader may be told.
    ducts, vaults : Selection, str or sequence of str, optional
        What to take as ducts and vaults; a name or names are layer patterns.
    forgiving : bool, optional
        Corners drawn sharp with no sweep stated become error findings and get the chord tolerance's worth of a bend;
        for looking at a file, not for working with it.
    limits : Limits, optional
        Time and memory of the reading.
    **others : object
        Any other field of :class:`~routeio.options.ReadOptions`, by its name.

    Returns
    -------
    Survey
        Ducts split at vaults, vaults, findings; in metres.

    Raises
    ------
    InputRefusedError
        The file cannot be used; with code, place and remedy.
    TypeError
        A keyword that is no option.

    Examples
    --------
    >>> survey = read_survey("harbour.dxf", ducts="DUCT*", vaults="VAULT*", sweep=3.81)  # doctest: +SKIP
    """
    options = told(options or ReadOptions(), ducts, vaults, others)
    path = Path(path)
    reader, _ = reader_for(path)
    with undisturbed():
        raw = in_worker(path, reader, "read", options, limits or Limits())
        if not isinstance(raw, RawSurvey):
            raise TypeError("the worker answered something else than a survey")
        with path.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
        return survey_of(raw, options, str(path), digest, forgiving=forgiving)


def told(
    options: ReadOptions,
    ducts: Selection | str | Sequence[str] | None,
    vaults: Selection | str | Sequence[str] | None,
    others: Mapping[str, object],
) -> ReadOptions:
    """Return options with what was said beside them.

    Parameters
    ----------
    options : ReadOptions
        To start from.
    ducts, vaults : Selection, str or sequence of str, optional
        As for :func:`read_survey`.
    others : mapping of str to object
        Other fields by name.

    Returns
    -------
    ReadOptions
        Changed.

    Raises
    ------
    TypeError
        A keyword that is no option.
    """
    unknown = sorted(set(others) - set(_OPTION_NAMES))
    if unknown:
        raise TypeError(f"unknown option {unknown[0]!r}; the options are {', '.join(_OPTION_NAMES)}")
    changed: dict[str, object] = dict(others)
    for name, value in (("ducts", ducts), ("vaults", vaults)):
        if value is not None:
            changed[name] = (
                value
                if isinstance(value, Selection)
                else Selection((value,) if isinstance(value, str) else tuple(value))
            )
    return replace(options, **changed)  # type: ignore[arg-type]


def survey_of(
    raw: RawSurvey, options: ReadOptions, file: str, sha256: str, *, forgiving: bool = False
) -> Survey:
    """Make a survey of what a reader found: clean it, and recover the shape of every line.

    Parameters
    ----------
    raw : RawSurvey
        As read.
    options : ReadOptions
        As for the reader.
    file, sha256 : str
        For the record.
    forgiving : bool, optional
        As for :func:`read_survey`.

    Returns
    -------
    Survey
        Lines whose shape is no duct's are left out, each with an error finding.

    Raises
    ------
    InputRefusedError
        ``sharp-corner``: the first of them, all in its findings, where no sweep is stated.
    """
    cleaned, stated = as_stated(raw) if raw.spans else (clean(raw, options), {})
    lines = [joined.tied.line for joined in cleaned.lines]
    lengths = line_lengths([line.points for line in lines], [line.bulge for line in lines]).tolist()
    ties = [(j.tied.start, j.tied.end, length) for j, length in zip(cleaned.lines, lengths, strict=True)]
    vaults, zeros = without_false_zeros(cleaned.vaults, ties)
    cleaned = replace(cleaned, vaults=vaults)
    findings = [*raw.findings, *cleaned.findings, *zeros]
    refused: list[InputRefusedError] = []
    shaped: list[tuple[Joined, Shape]] = []
    ready = stated or exact(lines, options.chord_tolerance)
    others = [k for k in range(len(lines)) if k not in ready]
    found = dict(zip(others, _shapes([lines[k] for k in others], options), strict=True))
    sharp = [k for k in others if forgiving and _is_sharp(found[k])]
    bent = replace(options, sweep=options.chord_tolerance)
    anyhow = dict(zip(sharp, _shapes([lines[k] for k in sharp], bent), strict=True))
    for k, joined in enumerate(cleaned.lines):
        shape = ready[k] if k in ready else found[k]
        if _is_sharp(shape) and not forgiving:
            refused.append(shape)
            continue
        if not isinstance(shape, Shape):
            findings.append(_without_shape(lines[k], shape))
            shape = anyhow.get(k, shape)
            if not isinstance(shape, Shape):
                if k in anyhow:
                    findings.append(_without_shape(lines[k], shape))
                continue
        if k in found:
            findings += longer_than_drawn(shape, lengths[k], joined.tied.line.where)
        shaped.append((joined, shape))
    if refused:
        first = refused[0]
        more = f" (and {len(refused) - 1} more lines with such corners)" if len(refused) > 1 else ""
        raise InputRefusedError(
            first.code,
            first.message + more,
            first.where,
            first.remedy,
            (*findings, *(_as_finding(r) for r in refused)),
            (raw.ground.unit, raw.ground.metres_per_unit),
        )
    shaped, told_on = on_profiles(shaped, raw, options)
    findings += told_on
    spans, told_of = leveled(
        [
            Span(shape, j.tied.start, j.tied.end, j.tied.line.where, _stated_in(raw, j.tied.line))
            for j, shape in shaped
        ],
        cleaned.vaults,
        raw.ground,
        options,
    )
    ids: Counter[str] = Counter()
    ducts = [_duct(joined, span, cleaned, ids) for (joined, _), span in zip(shaped, spans, strict=True)]
    for span in spans:
        findings += span.shape.findings
    findings += told_of
    return Survey(
        file,
        sha256,
        raw.ground,
        tuple(_parts_numbered(ducts)),
        cleaned.vaults,
        tuple(findings),
        raw.counts,
        raw.layers,
    )


def _stated_in(raw: RawSurvey, line: RawLine) -> ElevationFrom:
    """Return what beside z on its vertices states the elevations of a line; empty where nothing does."""
    if raw.spans:
        return "schedule"
    return "alignment" if line.where.id in raw.profiles else ""


def _shapes(lines: Sequence[RawLine], options: ReadOptions) -> list[Shape | InputRefusedError | DomainError]:
    """Return the shapes of the lines, each layer's together: its long lines tell what scatter its short ones have."""
    layers: dict[tuple[str | None, bool], list[int]] = {}
    for k, line in enumerate(lines):
        layers.setdefault((line.where.layer, line.drawn), []).append(k)
    found: dict[int, Shape | InputRefusedError | DomainError] = {}
    for rows in layers.values():
        found |= zip(rows, recover_many([lines[k] for k in rows], options), strict=True)
    return [found[k] for k in range(len(lines))]


def _is_sharp(shape: object) -> TypeGuard[InputRefusedError]:
    return isinstance(shape, InputRefusedError) and shape.code == "sharp-corner"


def _without_shape(line: RawLine, reason: InputRefusedError | DomainError) -> Finding:
    if isinstance(reason, InputRefusedError):
        return _as_finding(reason)
    return Finding(
        "no-duct-shape",
        "error",
        f"the line has a shape that no duct has, and is left out: {reason}",
        line.where,
        "check its vertices and their elevations",
    )


def _as_finding(refusal: InputRefusedError) -> Finding:
    return Finding(refusal.code, "error", refusal.message, refusal.where, refusal.remedy)


def _duct(joined: Joined, span: Span, cleaned: Cleaned, ids: Counter[str]) -> Duct:
    tied = joined.tied
    shape, parts = parted(span.shape, joined.pieces)
    first = tied.line.ids[0]
    ids[first] += 1
    return Duct(
        id=first if ids[first] == 1 else f"{first}:{ids[first]}",
        chain=shape.chain,
        start=shape.start,
        heading=shape.heading,
        end=shape.end,
        start_vault=None if tied.start is None else cleaned.vaults[tied.start].tag,
        end_vault=None if tied.end is None else cleaned.vaults[tied.end].tag,
        origins=shape.origins,
        elevated=shape.elevated,
        fields=tied.line.fields,
        vertices=tied.line.points,
        where=tied.line.where,
        parts=parts,
        elevation_from=span.elevation_from,
    )


def _parts_numbered(ducts: list[Duct]) -> list[Duct]:
    """Make ids unique, also where a file's own ids look like numbered parts."""
    taken: set[str] = set()
    out = []
    for duct in ducts:
        name, k = duct.id, 1
        while name in taken:
            k += 1
            name = f"{duct.id}#{k}"
        taken.add(name)
        out.append(duct if name == duct.id else replace(duct, id=name))
    return out

"""The GIS reader: layers of lines and vaults in metres, with a word on every feature that was not read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from routeio.crs import Placing, placing
from routeio.findings import Finding, InputRefusedError, Severity, Where
from routeio.firstbytes import reader_for
from routeio.gis_fields import VAULT_FIELDS, DuctColumns, as_text, check_fields, with_unit_of
from routeio.gis_open import (
    SINGLE_LAYER,
    Source,
    facts,
    features,
    plain_kind,
    sources,
)
from routeio.gis_parts import Parts, kinds_of, parts_of
from routeio.ground import FARTHEST, bounds, check_in_reach
from routeio.guess import Guess, fields_like
from routeio.layer_facts import KINDS, LINES, MARKS, Facts, Features
from routeio.layers import chosen, matcher, without_vaults
from routeio.options import ReadOptions, Selection
from routeio.rawcolumns import RawColumns
from routeio.rawlines import RawSurvey, RawVault
from routeio.sidecars import sidecar_findings
from routeio.survey import DuctFields
from routeio.tidy import placed

#: No more findings of one kind than this for one layer; the last names the rest.
_MOST_FINDINGS = 100


def read(path: Path, options: ReadOptions) -> RawSurvey:
    """Read layers.

    Parameters
    ----------
    path : Path
        A GeoPackage, shapefile, GeoJSON, FlatGeobuf or GeoParquet file.
    options : ReadOptions
        Which layers and fields, CRS, and the rest.

    Returns
    -------
    RawSurvey
        In metres; every feature of the chosen layers either read or counted as skipped.

    Raises
    ------
    InputRefusedError
        Missing layers or fields, no CRS, damage, locked files, numbers that are no places.
    """
    _, driver = reader_for(path)
    return _Reading(path, driver, options).run()


@dataclass
class _Reading:
    """One reading of one source."""

    path: Path
    driver: str
    options: ReadOptions
    findings: list[Finding] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    lines: list[RawColumns] = field(default_factory=list)
    vaults: list[RawVault] = field(default_factory=list)
    guesses: list[Guess] = field(default_factory=list)
    mixed: bool = False
    main: Placing | None = None
    main_crs: str | None = None
    far: bool = False

    def run(self) -> RawSurvey:
        where = Where(file=self.path.name)
        for what, selection in (("ducts", self.options.ducts), ("vaults", self.options.vaults)):
            if selection.look:
                raise InputRefusedError(
                    "no-filter-here",
                    f"{what} {selection.look}: features of a layer have none; only entities of a drawing do",
                    where,
                    "choose them by layer, or by a filter on their fields (where)",
                )
        all_sources = sources(self.path, self.driver)
        if not all_sources:
            raise InputRefusedError("no-layers", "the file holds no layers", where, "export it again")
        known = self._known(all_sources)
        ducts = self._chosen("ducts", self.options.ducts, known, all_sources, LINES)
        others = {name: f for name, f in known.items() if name not in ducts}
        told = bool(self.options.vaults.patterns)
        vaults = self._chosen("vaults", self.options.vaults, known if told else others, all_sources, MARKS)
        # marks among the lines of the only layer there is are its vaults
        self.mixed = not told and not vaults and not others
        for name in dict.fromkeys((*ducts, *vaults)):
            if name not in known:
                known[name] = facts(all_sources[name], self.options.encoding)
        self._check_fields("ducts", self.options.ducts.fields, ducts, known)
        self._check_fields("vaults", self.options.vaults.fields, vaults, known)
        for name in ducts:
            self._layer(all_sources[name], known[name], as_ducts=True, as_vaults=name in vaults or self.mixed)
        for name in vaults:
            if name not in ducts:
                self._layer(all_sources[name], known[name], as_ducts=False, as_vaults=True)
        left = sum(max(f.features, 0) for name, f in known.items() if name not in {*ducts, *vaults})
        if left:
            self.counts["skipped in layers not chosen"] = left
        if not vaults and not self.vaults:
            self.findings.append(without_vaults(dict.fromkeys(all_sources, 1), where))
        if self.main is None:
            raise self._nothing(where)
        return RawSurvey(
            RawColumns.joined(self.lines),
            tuple(self.vaults),
            self.main.ground,
            tuple(self.findings),
            dict(self.counts),
            {name: {f.kind: f.features} for name, f in known.items()},
        )

    def _nothing(self, where: Where) -> InputRefusedError:
        """Return the refusal of layers without a feature that has a place, with the reason where it is known."""
        said = tuple(self.findings)
        for cut in said:
            if cut.code == "file-cut":
                message = f"no feature is left: {cut.message}"
                return InputRefusedError("damaged-layer", message, cut.where, cut.remedy, said)
        for lost in said:
            if lost.code.startswith("geometry-"):
                message = f"no feature of the chosen layers can be read: {lost.message}"
                return InputRefusedError("nothing-to-read", message, lost.where, lost.remedy, said)
        message = "the chosen layers hold no feature with a place"
        return InputRefusedError("nothing-to-read", message, where, "check the layers and the filter", said)

    def _known(self, all_sources: Mapping[str, Source]) -> dict[str, Facts]:
        """Return the facts of the file's own layers; of neighbours only those asked for by name."""
        wanted = matcher([*self.options.ducts.patterns, *self.options.vaults.patterns])
        known = {}
        for name, source in all_sources.items():
            if self.driver not in SINGLE_LAYER or source.path == self.path or wanted(name):
                known[name] = facts(source, self.options.encoding)
        return known

    def _chosen(
        self,
        what: str,
        selection: Selection,
        known: Mapping[str, Facts],
        all_sources: Mapping[str, Source],
        kinds: frozenset[str],
    ) -> tuple[str, ...]:
        where = Where(file=self.path.name)
        if selection.patterns:
            # a name that no layer has is refused with all names there are, neighbours included
            names, _ = chosen(what, selection, dict.fromkeys(all_sources, 1), where, required=True)
            return names
        if self.driver in SINGLE_LAYER and what == "ducts":
            return (self.path.stem,)
        usable = {
            name: max(f.features, 1)
            for name, f in known.items()
            if f.features != 0 and (plain_kind(f.kind) in kinds | {"Unknown"})
        }
        names, said = chosen(what, selection, usable, where, required=what == "ducts")
        self.findings += said
        return names

    # -- one layer ---------------------------------------------------------------------------------------

    def _layer(self, source: Source, known: Facts, *, as_ducts: bool, as_vaults: bool) -> None:
        where = Where(file=source.path.name, layer=source.layer)
        options = self.options
        self.findings += sidecar_findings(source.path)
        before = len(self.vaults)
        duct_names = self._told("ducts", known, where) if as_ducts else {}
        vault_names = self._vault_names(known, where) if as_vaults else {}
        columns = known.fields if as_vaults else tuple(dict.fromkeys(duct_names.values()))
        filters = dict.fromkeys(
            [
                *([options.ducts.where] if as_ducts else []),
                *([options.vaults.where] if as_vaults and not self.mixed else []),
            ]
        )
        if as_ducts and as_vaults and len(filters) > 1:
            # one layer for both, filtered differently: read once for each
            self._layer(source, known, as_ducts=True, as_vaults=False)
            self._layer(source, known, as_ducts=False, as_vaults=True)
            return
        found = features(source, columns, next(iter(filters)), options.encoding, known)
        for text in found.warned:
            self._find(
                "library-warning", "warning", f"the library says: {text}", where, "export the layer again"
            )
        if known.features > len(found.fids):
            unfiltered = next(iter(filters)) is None
            if unfiltered and known.driver == "FlatGeobuf":  # of the others the count need not be right
                message = f"the layer says that it holds {known.features} features, and {len(found.fids)} are found: it was cut off"
                remedy = "export it again, or copy it again from where it came"
                self._find("file-cut", "error", message, where, remedy)
            lost = "skipped features not found" if unfiltered else "skipped by filter"
            self.counts[lost] += known.features - len(found.fids)
        good = self._with_a_place(found, where)
        kinds = kinds_of(found) + 1  # places in KINDS
        duct_rows = np.flatnonzero(good & _named(LINES)[kinds]) if as_ducts else np.zeros(0, np.int64)
        vault_rows = np.flatnonzero(good & _named(MARKS)[kinds]) if as_vaults else np.zeros(0, np.int64)
        if self.mixed and vault_rows.size:
            self._find(
                "layer-guessed",
                "warning",
                f"{vault_rows.size} points or areas among the ducts are taken for vaults: it is the only layer",
                where,
                "state the layer of the vaults",
            )
        rest = good.copy()
        rest[duct_rows] = False
        rest[vault_rows] = False
        for kind, count in _counted(kinds[rest]):
            self.counts[f"skipped {kind}"] += count
            self._find(
                "feature-skipped",
                "warning",
                f"{count} features are {kind}, which is no {'duct' if as_ducts else 'vault'}: not read",
                replace(where, id=str(found.fids[np.flatnonzero(rest & (kinds == KINDS.index(kind)))[0]])),
                "choose another layer for them if they belong to the route",
            )
        marks, ducts = parts_of(found, vault_rows), parts_of(found, duct_rows)
        # of lines the coordinates are all that is needed: a million geometries take as much memory again
        ducts = replace(ducts, shapes=ducts.shapes[:0])
        found = replace(found, geometry=found.geometry[:0], plain=None)
        if duct_rows.size or vault_rows.size:
            self._place(found, [p for p in (ducts, marks) if p.rows.size], where)
        if duct_rows.size:
            self._ducts(found, ducts, kinds, duct_names, where)
        if vault_rows.size:
            self._vaults(found, marks, kinds, vault_names, where)
        self._say_guesses(before, where)

    def _check_fields(
        self, what: str, told: Mapping[str, str], layers: Sequence[str], known: Mapping[str, Facts]
    ) -> None:
        """Refuse a field that none of the layers has; of several layers each may have some of them."""
        there = dict.fromkeys(f for name in layers for f in known[name].fields)
        where = Where(file=self.path.name, layer=", ".join(layers))
        if layers:
            check_fields(what, told, tuple(there), where)

    def _told(self, what: str, known: Facts, where: Where) -> dict[str, str]:
        """Return the fields stated for ducts or vaults that a layer has, by its spelling."""
        selection = self.options.ducts if what == "ducts" else self.options.vaults
        there = {name.lower() for name in known.fields}
        return check_fields(
            what, {o: t for o, t in selection.fields.items() if t.lower() in there}, known.fields, where
        )

    def _vault_names(self, known: Facts, where: Where) -> dict[str, str]:
        told = self._told("vaults", known, where)
        free = [f for f in known.fields if f not in told.values()]
        for guess in fields_like([n for n in VAULT_FIELDS if n not in told], free):
            told[guess.what] = guess.name
            self.guesses.append(guess)
        return told

    def _say_guesses(self, first: int, where: Where) -> None:
        """Say which fields were guessed, of those that any vault of the layer has a value in."""
        for guess in self.guesses:
            if any(guess.what in vault.fields for vault in self.vaults[first:]):
                self._find(
                    "field-guessed",
                    "info",
                    f"field {guess.name!r} is taken for the vaults' {guess.what}: {guess.reason}",
                    where,
                    f"state the field that holds the {guess.what}",
                )
        self.guesses = []

    def _with_a_place(self, found: Features, where: Where) -> np.ndarray:
        """Report features without a geometry that can be used; return which have one."""
        missing = kinds_of(found) < 0
        empty = ~missing & shapely.is_empty(found.geometry)
        for rows, code, what in (
            (np.flatnonzero(found.broken), "geometry-broken", "a geometry that cannot be read"),
            (np.flatnonzero(missing & ~found.broken), "geometry-null", "no geometry"),
            (np.flatnonzero(empty), "geometry-empty", "an empty geometry"),
        ):
            if rows.size:
                self.counts[f"skipped {code}"] += rows.size
                self._each(code, "warning", f"the feature has {what}: not read", found.fids[rows], where)
        return np.asarray(~missing & ~empty)

    def _each(
        self,
        code: str,
        severity: Severity,
        message: str,
        fids: Iterable[object],
        where: Where,
        *,
        remedy: str = "mend the feature or delete it",
        places: np.ndarray | None = None,
    ) -> None:
        """One finding a feature, the last naming those beyond a hundred."""
        ids = [str(fid) for fid in fids]
        for k, fid in enumerate(ids[:_MOST_FINDINGS]):
            at = replace(where, id=fid)
            self._find(code, severity, message, at if places is None else placed(at, places[k]), remedy)
        if len(ids) > _MOST_FINDINGS:
            rest = ids[_MOST_FINDINGS:]
            self._find(
                code, severity, f"{message}; so have {len(rest)} more: {', '.join(rest)}", where, remedy
            )

    # -- places ------------------------------------------------------------------------------------------

    def _place(self, found: Features, parts: Sequence[Parts], where: Where) -> None:
        """Decide how this layer's coordinates become the survey's metres."""
        every = [bounds(some.coordinates[:, :2]) for some in parts]
        low, high = np.min([b[0] for b in every], axis=0), np.max([b[1] for b in every], axis=0)
        if not np.isfinite([low, high]).all():  # NaN is neither least nor greatest, but comes through
            for some in parts:
                bad = ~np.isfinite(some.coordinates[:, :2]).all(axis=1)
                if bad.any():
                    row = some.row_at(np.flatnonzero(bad)[0])
                    check_in_reach(some.coordinates[bad, :2], 1.0, replace(where, id=str(found.fids[row])))
        self.far = not np.all(np.abs([low, high]) < FARTHEST)
        if self.main is None:
            self.main = placing(found.crs, self.options, low, high, where)
            self.main_crs = found.crs
            self.placing = self.main
            self.findings += self.main.findings
        elif found.crs == self.main_crs:
            self.placing = self.main
        else:
            target = self.main.ground.crs
            if target is None:
                raise InputRefusedError(
                    "no-crs",
                    "one of the layers says its coordinate reference system and the other does not",
                    where,
                    "state crs",
                )
            self.placing = placing(found.crs, replace(self.options, project_to=target), low, high, where)
            self.findings += self.placing.findings

    def _ducts(
        self, found: Features, parts: Parts, kinds: np.ndarray, names: Mapping[str, str], where: Where
    ) -> None:
        rows, owner = parts.rows, parts.owner
        per_feature = np.bincount(owner, minlength=rows.size)
        several = np.flatnonzero(per_feature > 1)
        metres = self._metres(parts, found.fids, where)
        first_vertex = np.cumsum(parts.sizes) - parts.sizes
        if several.size:
            self._each(
                "multi-part",
                "info",
                "the feature is a line of several parts; those that touch are joined",
                found.fids[rows[several]],
                where,
                remedy="none needed, if the parts belong to one duct",
                places=metres[first_vertex[np.searchsorted(owner, several)], :2],
            )
        metres_per_unit = self.placing.ground.metres_per_unit
        factor = 1.0 if self.placing.ground.crs_of_file else metres_per_unit
        columns = DuctColumns(names, found.columns, factor, where)
        fids = found.fids[rows[owner]]
        ids: np.ndarray | tuple[str, ...] = fids
        which = np.zeros(owner.size, dtype=np.int64)
        fields: dict[DuctFields, int] = {DuctFields(): 0}
        if names or several.size or not np.issubdtype(fids.dtype, np.integer):
            share = _shares(metres, parts.sizes, owner) if several.size else np.ones(owner.size)
            told = _told(columns, rows[owner], fids, per_feature[owner], _numbers(owner), share)
            ids = tuple(name for name, _ in told)
            fields = {}
            which = np.array([fields.setdefault(kind, len(fields)) for _, kind in told], dtype=np.int64)
        sizes = parts.sizes
        every = np.arange(owner.size)
        self.lines.append(
            RawColumns(
                points=metres,
                bulge=np.zeros(len(metres) - owner.size),
                sizes=sizes,
                names=ids,
                id_names=every,
                id_times=sizes - 1,
                drawn=np.zeros(owner.size, dtype=bool),
                kinds=tuple(fields),
                fields=which,
                layers=((where.file, where.layer),),
                where_layers=np.zeros(owner.size, dtype=np.int64),
                where_names=every,
                where_places=metres[first_vertex, :2],
            )
        )
        self.findings += columns.said()
        for kind, count in _counted(kinds[rows]):
            self.counts[f"read {kind}"] += count

    def _metres(self, parts: Parts, fids: np.ndarray, where: Where) -> np.ndarray:
        """Return the coordinates of parts in metres; they are overwritten."""
        bad = np.zeros(0, dtype=bool)
        if self.far:
            bad = ~(np.abs(parts.coordinates[:, :2]) < FARTHEST).all(axis=1)
        try:
            return self.placing.metres(parts.coordinates, where, spare=True)
        except InputRefusedError as refusal:
            if not bad.any():
                raise
            fid = str(fids[parts.row_at(np.flatnonzero(bad)[0])])
            raise InputRefusedError(
                refusal.code, refusal.message, replace(where, id=fid), refusal.remedy, tuple(self.findings)
            ) from refusal

    def _vaults(
        self, found: Features, marks: Parts, kinds: np.ndarray, names: Mapping[str, str], where: Where
    ) -> None:
        theirs = {name: ours for ours, name in names.items()}
        rows, parts, owner = marks.rows, marks.shapes, marks.owner
        per_feature = np.bincount(owner, minlength=rows.size)
        is_area = shapely.get_type_id(parts) == 3
        centres = np.where(is_area, shapely.centroid(parts), parts)
        coordinates = shapely.get_coordinates(centres, include_z=True)
        centred = replace(marks, coordinates=coordinates, sizes=np.ones(len(parts), dtype=np.int64))
        metres = self._metres(centred, found.fids, where)
        # a point's z is as little an elevation as a line's where it is 0 or absurd
        z = np.where((metres[:, 2] == 0.0) | ~(np.abs(metres[:, 2]) < 9000.0), np.nan, metres[:, 2])
        number = -1
        last_owner = -1
        for k, at in enumerate(owner.tolist()):
            number = number + 1 if at == last_owner else 0
            last_owner = at
            row = int(rows[at])
            name = str(found.fids[row]) + (f".{number + 1}" if per_feature[at] > 1 else "")
            fields = {
                theirs.get(column, column): with_unit_of(theirs.get(column, ""), column, text)
                for column, values in found.columns.items()
                if (text := as_text(values[row]))
            }
            footprint = None
            if is_area[k]:
                footprint = self._footprint(parts[k], where)
            x, y = float(metres[k, 0]), float(metres[k, 1])
            self.vaults.append(
                RawVault(
                    fields.get("name", ""), x, y, float(z[k]), footprint, fields,
                    Where(where.file, where.layer, name, x, y),
                )
            )  # fmt: skip
        for kind, count in _counted(kinds[rows]):
            self.counts[f"read {kind}"] += count

    def _footprint(self, area: shapely.Geometry, where: Where) -> BaseGeometry | None:
        ring = shapely.get_coordinates(shapely.get_exterior_ring(area), include_z=True)
        ring[:, 2] = np.nan
        outline: BaseGeometry = shapely.Polygon(self.placing.metres(ring, where)[:, :2])
        if not outline.is_valid:
            outline = outline.convex_hull
        return outline if outline.geom_type == "Polygon" and outline.area > 0.0 else None

    def _find(self, code: str, severity: Severity, message: str, where: Where, remedy: str) -> None:
        self.findings.append(Finding(code, severity, message, where, remedy))


def _numbers(owner: np.ndarray) -> np.ndarray:
    """Number the parts of each feature from 1."""
    first = np.concatenate(([True], owner[1:] != owner[:-1]))
    at = np.arange(owner.size)
    return np.asarray(at - np.maximum.accumulate(np.where(first, at, 0)) + 1)


def _shares(metres: np.ndarray, sizes: np.ndarray, owner: np.ndarray) -> np.ndarray:
    """Return which share of the length of its feature each part has; 0 where none has a length."""
    ends = np.cumsum(sizes)
    step = np.hypot(*np.diff(metres[:, :2], axis=0, append=metres[-1:, :2]).T)
    step[ends - 1] = 0.0
    length = np.add.reduceat(step, ends - sizes)
    whole = np.bincount(owner, length)[owner]
    return np.asarray(length / np.where(whole > 0.0, whole, 1.0))


def _told(
    columns: DuctColumns,
    rows: np.ndarray,
    fids: np.ndarray,
    parts: np.ndarray,
    numbers: np.ndarray,
    share: np.ndarray,
) -> list[tuple[str, DuctFields]]:
    """Return the id and the attributes of each part of a feature."""
    told = []
    for row, fid, several, number, part in zip(
        rows.tolist(),
        map(str, fids.tolist()),
        (parts > 1).tolist(),
        numbers.tolist(),
        share.tolist(),
        strict=True,
    ):
        name, fields = columns.id_of(row, fid), columns.of(row, fid)
        if several:
            name = f"{name}.{number}"
            if fields.recorded_length is not None:  # on record for all parts together
                fields = replace(fields, recorded_length=fields.recorded_length * part)
        told.append((name, fields))
    return told


def _counted(kinds: np.ndarray) -> list[tuple[str, int]]:
    """Return the name of each kind there is with how often it is."""
    counts = np.bincount(kinds, minlength=len(KINDS)).tolist()
    return [(name, count) for name, count in zip(KINDS, counts, strict=True) if count]


def _named(names: frozenset[str]) -> np.ndarray:
    """Return which of the kinds have such a name."""
    return np.array([name in names for name in KINDS])

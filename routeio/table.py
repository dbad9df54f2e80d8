"""The table reader: a bend schedule, row by row from vault to vault, as stated spans; every faulty row told at once."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from pathlib import Path

from mechanics.centreline import place
from mechanics.chain import Chain
from mechanics.errors import DomainError
from routeio.findings import Finding, InputRefusedError, Where, span_text
from routeio.layers import chosen
from routeio.options import ReadOptions
from routeio.rawlines import RawSurvey, RawVault, StatedSpan
from routeio.survey import DuctFields, Ground
from routeio.table_columns import COLUMNS, Column, column_of, measured
from routeio.table_open import Sheet, named, sheets
from routeio.table_rows import DIRECTIONS, KINDS, Segment, segments

#: Elevations stated at vaults and those the rows lead to may differ by this. [m]
_LEVELS = 0.05
_UNITS = (("us_survey_foot", 1200.0 / 3937.0), ("ft", 0.3048), ("in", 0.0254), ("yd", 0.9144))
_TOLD = 12
_SETTINGS = ("splice", "feed", "pull")
_REMEDY = "mend these rows; tautline new --table writes a table to start from, docs/reading.md says what a row holds"


def read(path: Path, options: ReadOptions) -> RawSurvey:
    """Read a bend schedule.

    Parameters
    ----------
    path : Path
        CSV, TSV or XLSX.
    options : ReadOptions
        ``ducts`` may name the sheet; ``encoding``.

    Returns
    -------
    RawSurvey
        Stated spans between the vaults of the table, laid out from the origin along x.

    Raises
    ------
    InputRefusedError
        ``table-unreadable`` with every faulty row; ``table-damaged``, ``unknown-encoding``, ``missing-layer``.
    """
    where = Where(file=path.name)
    if options.ducts.where or options.vaults.where:
        raise InputRefusedError(
            "no-filter-here", "rows of a table cannot be filtered", where, "leave where out of the job"
        )
    found = sheets(path, options.encoding)
    usable = {sheet.name: len(sheet.rows) for sheet in found if heading_row(sheet) is not None}
    every = named(found)
    names, said = chosen("ducts", options.ducts, usable or every, where, required=True)
    if len(names) > 1:
        raise InputRefusedError(
            "no-layer-chosen", f"{len(names)} sheets could be the bend schedule: {', '.join(names)}", where,
            "state the one sheet as ducts layer",
        )  # fmt: skip
    sheet = next(s for s in found if s.name == names[0])
    # one table only is nothing to guess
    said = said if len(usable) > 1 and not options.ducts.patterns else ()
    raw = _Reading(sheet, Where(file=path.name, layer=sheet.name)).run()
    counts = dict(raw.counts)
    others = sum(n for name, n in every.items() if name != sheet.name)
    if others:
        counts["skipped row of another sheet"] = others
    return replace(
        raw, findings=(*said, *raw.findings), counts=counts, layers={n: {"row": k} for n, k in every.items()}
    )


def heading_row(sheet: Sheet) -> int | None:
    """Return the row of a sheet that holds the headings of a bend schedule, from 0; None where there is none.

    Parameters
    ----------
    sheet : Sheet
        As opened.

    Returns
    -------
    int or None
        The first row, among the first fifty that are no comments, with a heading for the kind of row and one more.
    """
    for r, row in enumerate(sheet.rows[:200]):
        if not any(row) or row[0].startswith("#"):
            continue
        known = set()
        for at, text in enumerate(row):
            try:
                column = column_of(text, at)
            except DomainError:
                return r  # a heading with a unit that is none
            if column:
                known.add(column.name)
        if "kind" in known and len(known) > 1:
            return r
    return None


@dataclass
class _Reading:
    """One reading of one sheet."""

    sheet: Sheet
    where: Where
    faults: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    columns: dict[str, Column] = field(default_factory=dict)
    vaults: list[RawVault] = field(default_factory=list)
    spans: list[StatedSpan] = field(default_factory=list)
    tags: dict[str, int] = field(default_factory=dict)
    pending: list[tuple[Segment, str, DuctFields]] = field(default_factory=list)
    duct: DuctFields = field(default_factory=DuctFields)
    place: tuple[float, float, float] = (0.0, 0.0, 0.0)
    heading: float = 0.0
    grade: float = 0.0
    datum: float | None = None
    ended: int | None = None
    total: float | None = None
    width: int = 0
    told: int = 0

    def run(self) -> RawSurvey:
        head = heading_row(self.sheet)
        if head is None:
            raise self._no_heading()
        self._headings(head)
        read = {column.at for column in self.columns.values()}
        bad = {place: why for place, why in self.sheet.faults.items() if place[1] in read}
        self.sheet = replace(self.sheet, faults=bad)
        for first, last, name in self.sheet.merged:
            if last >= head:
                self.faults.append(f"row {first + 1}: cells {name} are merged; part them, one value a cell")
        for r, row in enumerate(self.sheet.rows):
            if r == head:
                self.counts["read heading"] += 1
            elif not any(row) and not any(at == r for at, _ in self.sheet.faults):
                self.counts["skipped empty row"] += 1
            elif row[0].startswith("#") or r < head:
                self.counts[
                    "skipped comment" if row[0].startswith("#") else "skipped row above the headings"
                ] += 1
            else:
                self._row(r, row)
        if self.pending:
            self.faults.append(
                f"row {len(self.sheet.rows)}: the last duct ends at no vault; end it with a row of kind vault"
            )
        elif len(self.vaults) < 2 and not self.faults:
            self.faults.append("the table names fewer than two vaults; it runs from vault to vault")
        if self.faults:
            raise self._refused()
        self._told_end()
        return self._survey()

    # -- headings and rows -------------------------------------------------------------------------------

    def _headings(self, head: int) -> None:
        row = self.sheet.rows[head]
        self.width = len(row)
        unread = []
        for at, text in enumerate(row):
            try:
                column = column_of(text, at)
            except DomainError as error:
                self.faults.append(f"row {head + 1}: {error}")
                continue
            if column is None:
                if (
                    text
                    or any(at < len(r) and r[at] for r in self.sheet.rows[head + 1 :])
                    or any(c == at and r > head for r, c in self.sheet.faults)
                ):
                    unread.append(text or f"column {at + 1}")
            elif column.name in self.columns:
                self.faults.append(
                    f"row {head + 1}: headings {self.columns[column.name].heading!r} and {text!r} mean the same; keep one"
                )
            else:
                self.columns[column.name] = column
        if unread:
            self.findings.append(
                Finding(
                    "column-unread", "warning",
                    f"columns that mean nothing here are not read: {', '.join(repr(u[:30]) for u in unread[:8])}",
                    self.where, f"the columns are {', '.join(COLUMNS)}",
                )
            )  # fmt: skip

    def _no_heading(self) -> InputRefusedError:
        first = next((row for row in self.sheet.rows if any(row) and not row[0].startswith("#")), ())
        if len([c for c in first if c]) == 1:
            why = f"the first row is one cell, {first[0][:40]!r}: its columns are parted by something else than , ; or tabs"
        else:
            why = "no row holds the headings: one must be kind, beside such as tag, length [ft], angle [deg], radius [ft]"
        return InputRefusedError("table-unreadable", why, self.where, _REMEDY)

    def _row(self, r: int, row: tuple[str, ...]) -> None:
        number = r + 1
        if self.ended is not None:
            self.faults.append(f"row {number}: stands below the row end (row {self.ended}); move it above")
            return
        cells = {name: row[c.at] for name, c in self.columns.items() if c.at < len(row) and row[c.at]}
        if any(row[self.width :]):
            self.faults.append(
                f"row {number}: more cells than headings; a comma inside a number or a text parts it in two"
            )
            return
        kind = KINDS.get(cells.get("kind", "").lower())
        if kind is None:
            self.faults.append(f"row {number}: {_unknown(cells.get('kind', ''))}")
            return
        bad = {c: why for (at, c), why in self.sheet.faults.items() if at == r}
        if kind == "end" and "length" in self.columns and bad.pop(self.columns["length"].at, ""):
            self._told_unread_sum(number)
        for c, why in bad.items():
            self.faults.append(f"row {number}, column {_letter(c)}: {why}; write its value")
        if bad:
            return
        values: dict[str, float] = {}
        try:
            for name, text in cells.items():
                if name in ("length", "angle", "radius", "offset", "elevation", "inside_diameter"):
                    column = self.columns[name]
                    # a workbook keeps numbers apart from text, which may be written either way
                    either = self.sheet.decimal_comma or (r, column.at) in self.sheet.texts
                    values[name] = measured(text, column, self.sheet.decimal_comma, either)
            self._take(kind, number, cells, values)
        except DomainError as error:
            self.faults.append(f"row {number}: {error}")
            return
        self.counts[f"read {kind}"] += 1

    def _take(self, kind: str, number: int, cells: Mapping[str, str], values: dict[str, float]) -> None:
        if kind == "end":
            self.ended, self.total = number, values.get("length")
            return
        self.duct = self._fields(cells, values)
        if kind == "vault":
            self._vault(number, cells, values)
            return
        if not self.vaults:
            raise DomainError("the table begins with a vault; write a row of kind vault above it")
        made = segments(kind, _way(cells), values, self.grade)
        self.grade = made[-1].grade_out
        self.pending += [(segment, f"row {number}", self.duct) for segment in made]

    def _fields(self, cells: Mapping[str, str], values: Mapping[str, float]) -> DuctFields:
        """Return the duct's attributes: what is written holds until something else is written."""
        stated = {name: cells[name] for name in ("size", "type") if name in cells}
        duct = replace(
            self.duct, size=stated.get("size", self.duct.size), type=stated.get("type", self.duct.type)
        )
        if "inside_diameter" in values:
            if not 0.0 < values["inside_diameter"] < 5.0:
                raise DomainError(
                    f"inside diameter must be above 0 and below 5 m, got {cells['inside_diameter']!r}"
                )
            duct = replace(duct, inside_diameter=values["inside_diameter"])
        elif stated:
            duct = replace(duct, inside_diameter=None)
        if "friction" in cells:
            try:
                friction = float(
                    cells["friction"].replace(",", ".") if self.sheet.decimal_comma else cells["friction"]
                )
            except ValueError:
                friction = math.nan
            if not 0.0 < friction < 2.0:
                raise DomainError(
                    f"friction must be a plain number above 0 and below 2, got {cells['friction']!r}"
                )
            duct = replace(duct, friction=friction)
        return duct

    # -- vaults and spans --------------------------------------------------------------------------------

    def _vault(self, number: int, cells: Mapping[str, str], values: Mapping[str, float]) -> None:
        tag = cells.get("tag", "")
        if not tag:
            raise DomainError("the vault has no tag; write it in the column tag, such as MH-3")
        if tag.casefold() in self.tags:
            raise DomainError(
                f"vault {tag!r} stands in row {self.tags[tag.casefold()]} already; give each a tag of its own"
            )
        faulty, self.told = len(self.faults) > self.told, len(self.faults)
        if self.vaults and not self.pending and not faulty:
            raise DomainError(
                f"no duct leads from vault {self.vaults[-1].tag!r} to vault {tag!r}; write its rows between"
            )
        self.tags[tag.casefold()] = number
        if self.pending:
            self._span(tag)
        level = values.get("elevation")
        if self.datum is None and level is not None:
            self.datum = level - self.place[2]
        turn = values.get("angle", 0.0)
        way = _way(cells)
        if turn and way not in ("left", "right"):
            raise DomainError(
                f"the cable turns in vault {tag!r}; direction must be left or right, got {way!r}"
            )
        self.heading += turn if way == "left" else -turn
        self.grade = 0.0
        fields = {name: cells[name] for name in _SETTINGS if name in cells} | {"name": tag}
        if level is not None:
            fields["invert"] = repr(level)
        x, y, z = self.place
        where = replace(self.where, id=f"row {number}", x=x, y=y)
        self.vaults.append(RawVault(tag, x, y, z, None, fields, where))

    def _span(self, tag: str) -> None:
        made = [segment for segment, _, _ in self.pending]
        length, grade_in, grade_out, turn = zip(
            *((s.length, s.grade_in, s.grade_out, s.turn) for s in made), strict=True
        )
        drawn = place(Chain(length, grade_in, grade_out, turn), self.place, self.heading)
        fields: list[tuple[int, DuctFields]] = []
        for k, (_, _, duct) in enumerate(self.pending):
            if fields and fields[-1][1] == duct:
                fields[-1] = (k + 1, duct)
            else:
                fields.append((k + 1, duct))
        first = self.pending[0][1]
        self.spans.append(
            StatedSpan(
                self.vaults[-1].tag, tag, length, grade_in, grade_out, turn,
                tuple(row for _, row, _ in self.pending), tuple(fields), self.place, self.heading,
                any(grade_in) or any(grade_out), replace(self.where, id=first, x=self.place[0], y=self.place[1]),
            )
        )  # fmt: skip
        x, y, z = (float(v) for v in drawn.points[-1])
        self.place, self.heading = (x, y, z), drawn.heading
        self.pending = []

    # -- the end -----------------------------------------------------------------------------------------

    def _told_unread_sum(self, number: int) -> None:
        self.findings.append(
            Finding(
                "sum-unread", "info",
                "the row end states its length by a formula, which is never worked out here: the sum is not checked",
                replace(self.where, id=f"row {number}"), "write its value to have it checked",
            )
        )  # fmt: skip

    def _told_end(self) -> None:
        if self.ended is None:
            self.findings.append(
                Finding(
                    "no-end-row", "warning",
                    f"the table has no row end, so nothing tells whether it is whole; its last vault is "
                    f"{self.vaults[-1].tag!r}",
                    self.where, "write a row of kind end below the last vault",
                )
            )  # fmt: skip
        written = sum(sum(span.length) for span in self.spans)
        if self.total is not None and abs(written - self.total) > 0.01 + 1e-3 * self.total:
            self.findings.append(
                Finding(
                    "length-differs", "warning",
                    f"the rows add up to {span_text(written)} and the row end says {span_text(self.total)}; the rows "
                    "are used",
                    replace(self.where, id=f"row {self.ended}"), "check which is right",
                )
            )  # fmt: skip

    def _survey(self) -> RawSurvey:
        elevated = any(span.elevated for span in self.spans)
        datum = self.datum or 0.0
        if elevated:
            self.spans = [
                replace(s, start=(s.start[0], s.start[1], s.start[2] + datum), elevated=True)
                for s in self.spans
            ]
            self._levels(datum)
        unit, metres = next(
            ((name, size) for name, size in _UNITS if self._written_in(name, size)), ("m", 1.0)
        )
        vaults = []
        for vault in self.vaults:
            level = vault.fields.get("invert")
            fields = dict(vault.fields) | ({} if level is None else {"invert": repr(float(level) / metres)})
            vaults.append(replace(vault, z=vault.z + datum if elevated else math.nan, fields=fields))
        return RawSurvey(
            (),
            tuple(vaults),
            Ground(metres, unit),
            tuple(self.findings),
            dict(self.counts),
            spans=tuple(self.spans),
        )

    def _written_in(self, name: str, size: float) -> bool:
        """Whether lengths are written in a unit: as the heading of the column says, else as its cells do."""
        column = self.columns.get("length")
        if column is None:
            return False
        if column.unit:
            return abs(measured("1", column, False) - size) < 1e-12
        words = [row[column.at].lower() for row in self.sheet.rows if column.at < len(row)]
        return name == "ft" and any(w[:1].isdigit() and ("ft" in w or "'" in w or "feet" in w) for w in words)

    def _levels(self, datum: float) -> None:
        for vault in self.vaults:
            level = vault.fields.get("invert")
            if level is not None and abs(float(level) - vault.z - datum) > _LEVELS:
                self.findings.append(
                    Finding(
                        "levels-differ", "warning",
                        f"vault {vault.tag!r} is stated at {span_text(float(level))} and the rows lead to "
                        f"{span_text(vault.z + datum)}; the rows are used",
                        vault.where, "check the elevation, and the rises and falls before it",
                    )
                )  # fmt: skip

    def _refused(self) -> InputRefusedError:
        told = "; ".join(self.faults[:_TOLD])
        more = f"; and {len(self.faults) - _TOLD} more" if len(self.faults) > _TOLD else ""
        many = f"{len(self.faults)} faults: " if len(self.faults) > 1 else ""
        row = self.faults[0].split(":", 1)[0].split(",")[0]
        where = replace(self.where, id=row if row.startswith("row ") else "")
        return InputRefusedError(
            "table-unreadable", f"{many}{told}{more}", where, _REMEDY, tuple(self.findings)
        )


def _unknown(kind: str) -> str:
    known = list(dict.fromkeys(KINDS.values()))
    if not kind:
        return f"kind is empty; write one of {', '.join(known)}"
    like = get_close_matches(kind.lower(), list(KINDS), n=1)
    hint = f", perhaps {like[0]!r}" if like else ""
    return f"{kind[:40]!r} is no kind of row; write one of {', '.join(known)}{hint}"


def _way(cells: Mapping[str, str]) -> str:
    """Return the direction written in a row by our word for it, or as written where it is none."""
    written = cells.get("direction", "").lower()
    return DIRECTIONS.get(written.removesuffix("."), written)


def _letter(column: int) -> str:
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters

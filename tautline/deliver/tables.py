"""The result as tables, and as CSV files in the job's units: numbers as numbers, names never as formulas."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from tautline.deliver.atomic import replacing_folder
from tautline.deliver.bundles import cables_in, changes_of, count_of, reel_of
from tautline.deliver.digest import cable_of
from tautline.deliver.frame import ROLES, Document, Pull, pulls_of, sections_of
from tautline.deliver.present import Units, plain, words
from tautline.deliver.reasons import alternative_rows, plan_reasons
from tautline.document import bundle_of

Cell = str | float | int | None


@dataclass(frozen=True)
class Column:
    """A column of a table.

    Parameters
    ----------
    heading : str
        Without the unit.
    kind : str, optional
        Kind of quantity of :meth:`Units.unit`, ``percent`` for a utilisation, empty for text and plain numbers.
    wide : int, optional
        Width in characters.
    decimals : int, optional
        Shown of a plain number; None: as many as its size asks for.
    """

    heading: str
    kind: str = ""
    wide: int = 12
    decimals: int | None = None


@dataclass(frozen=True)
class Table:
    """A table with SI values; units are put on when it is written.

    Parameters
    ----------
    name : str
        Of the sheet and the file.
    columns : tuple of Column
        In order.
    rows : list of tuple
        One value a column; None where there is none.
    """

    name: str
    columns: tuple[Column, ...]
    rows: list[tuple[Cell, ...]]

    def headings(self, units: Units) -> list[str]:
        """Return the headings with their units."""
        out = []
        for c in self.columns:
            label = "%" if c.kind == "percent" else units.label(c.kind) if c.kind else ""
            out.append(f"{c.heading} [{label}]" if label else c.heading)
        return out

    def values(self, units: Units) -> Iterable[list[Cell]]:
        """Yield the rows in the job's units, not rounded."""
        for row in self.rows:
            yield [_shown(v, c, units) for v, c in zip(row, self.columns, strict=True)]


def tables_of(document: Document) -> tuple[Table, ...]:
    """Return the tables of a result document.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    tuple of Table
        Pulls, checks, vaults, reels, lubricant, materials, reasons, alternatives, findings and what the result rests on.
    """
    units, pulls = Units.of(document), pulls_of(document)
    return (
        _pulls(document, pulls, units),
        _checks(pulls, units),
        _vaults(document),
        _reels(document, units),
        _lubricant(pulls),
        _materials(document, pulls, units),
        _reasons(document),
        _alternatives(document),
        _findings(document),
        _basis(document, units),
    )


def write_csv(document: Document, folder: Path) -> list[Path]:
    """Write every table as a CSV file, all of them at once in the place of the old ones.

    Parameters
    ----------
    document : mapping
        A result document, valid against the schema.
    folder : Path
        Made where it is not there; files of other names stay in it.

    Returns
    -------
    list of Path
        The files: UTF-8 with a byte-order mark, so that spreadsheets read the names right.

    Raises
    ------
    OutputError
        They could not be written.
    """
    units, names = Units.of(document), list[str]()
    with replacing_folder(folder) as draft:
        for table in tables_of(document):
            names.append(f"{table.name.lower()}.csv")
            # a byte-order mark comes first
            with (draft / names[-1]).open("w", encoding="utf-8-sig", newline="") as out:
                writer = csv.writer(out, lineterminator="\n")
                writer.writerow(table.headings(units))
                writer.writerows([_harmless(v) for v in row] for row in table.values(units))
    return [folder / name for name in names]


def _pulls(document: Document, pulls: Sequence[Pull], units: Units) -> Table:
    columns = (
        Column("pull"),
        Column("section"),
        Column("feed vault", wide=18),
        Column("pull vault", wide=18),
        Column("length", "length"),
        Column("entry tension", "force"),
        Column("hold back", "force"),
        Column("brake for low friction", "force"),
        Column("exit tension", "force"),
        Column("greatest tension", "force"),
        Column("winch reads at most", "force"),
        Column("tension limit", "force"),
        Column("sidewall pressure", "pressure"),
        Column("sidewall limit", "pressure"),
        Column("worst sidewall at", wide=36),
        Column("utilisation", "percent"),
        Column("governed by", wide=18),
        Column("verdict"),
        Column("passes through", wide=24),
        Column("re-lube at", wide=18),
        Column("lubricant", "volume"),
        Column("other way: utilisation", "percent"),
        Column("other way: exit tension", "force"),
        Column("other way: sidewall pressure", "pressure"),
        Column("other way: verdict"),
        Column("cables", wide=28),
    )
    rows: list[tuple[Cell, ...]] = []
    for p in pulls:
        d, other = p.data, p.data["reverse"] or {}
        rows.append(
            (
                p.number,
                p.section or None,
                d["feed"],
                d["pull"],
                d["length_m"],
                d["entry_tension_N"],
                d["holding_tension_N"],
                d.get("brake_tension_N"),
                d["exit_tension_N"],
                d["max_tension_N"],
                d.get("winch_tension_N"),
                d["limits"]["max_tension_N"],
                d["max_sidewall_N_per_m"],
                d["limits"]["max_sidewall_N_per_m"],
                p.place(d["max_sidewall_station_m"], units),
                d["utilisation"],
                words(d["governs"]),
                d["verdict"],
                ", ".join(v["tag"] for v in d["passes"]),
                ", ".join(d["relube"]),
                d["lubricant"]["total_L"],
                other.get("utilisation"),
                other.get("exit_tension_N"),
                other.get("max_sidewall_N_per_m"),
                other.get("verdict"),
                cables_in(bundle_of(document, d), units),
            )
        )
    return Table("Pulls", columns, rows)


def _checks(pulls: Sequence[Pull], units: Units) -> Table:
    columns = (
        Column("pull"),
        Column("check", wide=20),
        Column("value", wide=14),
        Column("limit", wide=14),
        Column("unit"),
        Column("utilisation", "percent"),
        Column("verdict"),
        Column("binding"),
        Column("stated in the job"),
        Column("where", wide=36),
        Column("source of the limit", wide=70),
    )
    rows: list[tuple[Cell, ...]] = []
    for p in pulls:
        for c in p.data["checks"]:
            kind, label = units.kind_of(c)
            rows.append(
                (
                    p.number,
                    words(c["name"]),
                    _in(units, kind, c["value"]),
                    _in(units, kind, c["limit"]),
                    label,
                    c["utilisation"],
                    c["verdict"],
                    "yes" if c["binding"] else "no",
                    "yes" if c["overridden"] else "no",
                    p.place(c["station_m"], units),
                    c["source"],
                )
            )
    return Table("Checks", columns, rows)


def _vaults(document: Document) -> Table:
    columns = (
        Column("vault", wide=18),
        Column("kind", wide=14),
        Column("work", wide=24),
        Column("station", "length"),
        Column("elevation", "length"),
        Column("x, as in the source", wide=18, decimals=3),
        Column("y, as in the source", wide=18, decimals=3),
    )
    scale = document["ground"]["metres_per_unit"]
    rows: list[tuple[Cell, ...]] = [
        (
            v["tag"],
            v["kind"],
            ", ".join(ROLES.get(r, r) for r in v["roles"]),
            v["station_m"],
            v["z"],
            v["x"] / scale,
            v["y"] / scale,
        )
        for v in document["vaults"]
    ]
    return Table("Vaults", columns, rows)


def _reels(document: Document, units: Units) -> Table:
    columns = (
        Column("section"),
        Column("from", wide=18),
        Column("to", wide=18),
        Column("cable", wide=28),
        Column("length on the reel", "length", 18),
        Column("of the longest reel", "percent", 18),
    )
    rows: list[tuple[Cell, ...]] = []
    for number, s in enumerate(sections_of(document), 1):
        longest = reel_of(document, s)["longest_m"]
        for c in bundle_of(document, s)["cables"]:
            share = s["cable_length_m"] / longest if longest else None
            rows.append((number, s["from"], s["to"], cable_of(c, units), s["cable_length_m"], share))
    return Table("Reels", columns, rows)


def _lubricant(pulls: Sequence[Pull]) -> Table:
    columns = (
        Column("pull"),
        Column("vault", wide=18),
        Column("quantity", "volume"),
        Column("grade"),
        Column("how", wide=70),
    )
    rows: list[tuple[Cell, ...]] = [
        (p.number, at["vault"], at["litres"], p.data["lubricant"]["grade"], at["how"])
        for p in pulls
        for at in p.data["lubricant"]["at"]
    ]
    return Table("Lubricant", columns, rows)


def _materials(document: Document, pulls: Sequence[Pull], units: Units) -> Table:
    """What is to be ordered, as far as the document tells it."""
    columns = (
        Column("item", wide=44),
        Column("pieces"),
        Column("length", "length", 14),
        Column("volume", "volume", 14),
    )
    sections, rows = sections_of(document), list[tuple[Cell, ...]]()
    reels, lengths = Counter[str](), Counter[str]()
    for s in sections:
        for c in bundle_of(document, s)["cables"]:
            name = cable_of(c, units)
            reels[name] += 1
            lengths[name] += s["cable_length_m"]
    rows += [(f"cable, {name}: reels", number, lengths[name], None) for name, number in reels.items()]
    changes, splices = changes_of(document), Counter[str]()
    joined = {v["tag"] for v in document["vaults"] if "splice" in v["roles"]}
    for before, after in pairwise(sections):
        if before["to"] in joined and before["to"] == after["from"]:
            kind = (
                "splices where the bundle changes, one a cable"
                if before["to"] in changes
                else "splices, one a cable"
            )
            splices[kind] += max(count_of(document, before), count_of(document, after))
    rows += [(kind, number, None, None) for kind, number in splices.items()]
    litres: Counter[str] = Counter()
    for p in pulls:
        litres[p.data["lubricant"]["grade"]] += p.data["lubricant"]["total_L"]
    rows += [(f"pulling lubricant, {grade}", None, None, total) for grade, total in litres.items()]
    return Table("Materials", columns, rows)


def _reasons(document: Document) -> Table:
    columns = (Column("of"), Column("which", wide=36), Column("why", wide=90))
    return Table("Reasons", columns, list(plan_reasons(document)))


def _alternatives(document: Document) -> Table:
    """The plans that none beats in both cost and worst utilisation."""
    columns = (
        Column("alternative"),
        Column("cost", decimals=2),
        Column("worst utilisation", "percent"),
        Column("sections"),
        Column("pulls"),
        Column("re-lube stops"),
        Column("the plan"),
        Column("knee"),
        Column("splices at", wide=36),
        Column("re-lube at", wide=36),
    )
    rows: list[tuple[Cell, ...]] = [
        (
            *(a[key] for key in ("number", "cost", "utilisation", "sections", "pulls", "relubes")),
            *("yes" if a[key] else "no" for key in ("chosen", "knee")),
            a["splices"],
            a["relube"],
        )
        for a in alternative_rows(document)
    ]
    return Table("Alternatives", columns, rows)


def _findings(document: Document) -> Table:
    columns = (
        Column("severity"),
        Column("code", wide=20),
        Column("what", wide=70),
        Column("what to do", wide=50),
        Column("file", wide=20),
        Column("layer", wide=16),
        Column("id", wide=12),
        Column("x, as in the source", wide=18, decimals=3),
        Column("y, as in the source", wide=18, decimals=3),
    )
    scale = document["ground"]["metres_per_unit"]
    rows: list[tuple[Cell, ...]] = []
    for f in document["findings"]:
        w = f["where"]
        x, y = (None if w[k] is None else w[k] / scale for k in ("x", "y"))
        rows.append(
            (f["severity"], f["code"], f["message"], f["remedy"], w["file"], w["layer"], w["id"], x, y)
        )
    return Table("Findings", columns, rows)


def _basis(document: Document, units: Units) -> Table:
    """What the result rests on: job, source, settings, assumptions, overrides, cautions."""
    columns = (
        Column("what", wide=22),
        Column("name", wide=34),
        Column("value", wide=60),
        Column("from", wide=50),
    )
    job, source, ground = document["job"], document["source"], document["ground"]
    program = document["program"]
    rows: list[tuple[Cell, ...]] = [
        ("job", "name", job["name"], job["file"]),
        ("job", "verdict", document["verdict"], document["command"]),
        ("source", "file", source["file"], f"sha256 {source['sha256']}"),
        ("source", "crs", document["crs"] or "not known", ""),
        ("source", "unit", ground["unit"], f"{ground['metres_per_unit']!r} m"),
        ("program", program["name"], program["version"], document["schema"]),
    ]
    if document.get("no_plan"):
        rows.append(("no plan", "why", document["no_plan"]["reason"], ""))
    rows += [("setting", s["name"], units.setting(s), s["source"]) for s in document.get("settings", [])]
    for kind in ("overrides", "assumptions", "cautions"):
        rows += [(kind.removesuffix("s"), "", text, "") for text in document[kind]]
    return Table("Basis", columns, rows)


def _in(units: Units, kind: str, si: float | None) -> float | None:
    return None if si is None else units.value(kind, si)


def _shown(value: Cell, column: Column, units: Units) -> Cell:
    if isinstance(value, str):
        return plain(value)
    if value is None or not column.kind:
        return value
    return 100.0 * value if column.kind == "percent" else units.value(column.kind, value)


def _harmless(value: Cell) -> Cell:
    """Text that a spreadsheet would take for a formula, marked as text the way spreadsheets do."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    return value

"""The DXF reader: a drawing's lines and vaults in metres, with a word on everything that was not read."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from routeio import crs as crs_
from routeio.dxf_blocks import MOST_ENTITIES, Blocks, Placed, expanded
from routeio.dxf_layers import INSIDE, lines_by_layer, marks_by_layer
from routeio.dxf_light import ASIDE, LightLines, NotPlainError, lifted_lines
from routeio.dxf_look import Choice
from routeio.dxf_open import Opened, open_drawing, refuse_garbled
from routeio.dxf_rings import Piece, closed_rings
from routeio.dxf_shapes import LINES, NotALineError, attributes_of, is_hidden, layer_of
from routeio.dxf_units import drawing_units, no_units
from routeio.dxf_vaults import (
    TEXT_KINDS,
    VAULT_KINDS,
    Label,
    VaultReader,
    carried,
    label_of,
    named_by_text,
    text_cut,
)
from routeio.findings import Finding, InputRefusedError, Severity, Where
from routeio.ground import UNITS, unit_named
from routeio.guess import Guess, fields_like
from routeio.layers import chosen, without_vaults
from routeio.options import ReadOptions
from routeio.rawlines import RawLine, RawSurvey, RawVault
from routeio.survey import Ground

if TYPE_CHECKING:
    from ezdxf.entities import DXFEntity

#: Kinds that stand beside ducts to be read by people; leaving them out loses nothing.
_NOTES = frozenset(
    {"TEXT", "MTEXT", "DIMENSION", "LEADER", "MULTILEADER", "MLEADER", "HATCH", "POINT", "ARC_DIMENSION",
     "TOLERANCE", "WIPEOUT", "IMAGE", "ATTDEF", "VIEWPORT"}
)  # fmt: skip
_PROXIES = frozenset({"ACAD_PROXY_ENTITY", "ACAD_PROXY_OBJECT"})
#: Why an entity on a chosen layer was left out.
_OTHER_STATE = "hidden within its block, as the other states of a block with several are"
_OTHER_LOOK = "its color, line type or block is not the one chosen"
_VAULT_FIELDS = ("name", "kind", "rim", "invert", "splice", "feed", "pull")


def read(path: Path, options: ReadOptions) -> RawSurvey:
    """Read a drawing.

    Parameters
    ----------
    path : Path
        A DXF file, text or binary.
    options : ReadOptions
        Which layers, units, and the rest.

    Returns
    -------
    RawSurvey
        In metres; every entity of the file either read or counted as skipped.

    Raises
    ------
    InputRefusedError
        Missing or contradicting units, missing layers, damage, numbers that are no places, blocks that contain
        themselves or expand beyond bounds.
    """
    plain = not (options.ducts.look or options.vaults.look)
    try:
        return _Reading(path.name, open_drawing(path, options, lift=plain), options).run()
    except NotPlainError:
        return _Reading(path.name, open_drawing(path, options), options).run()


def layer_table(opened: Opened) -> dict[str, Counter[str]]:
    """Return what is on each layer of the model, blocks' contents included once.

    Lines that take the layer of their block's INSERT are told apart from those drawn there.

    Parameters
    ----------
    opened : Opened
        The drawing.

    Returns
    -------
    dict of str to Counter
        Layer to kind to count; names differing in case only are one.
    """
    table: dict[str, Counter[str]] = {}
    spelling: dict[str, str] = {}
    used: dict[str, bool] = {}

    def add(layer: str, kind: str) -> None:
        name = spelling.setdefault(layer.lower(), layer)
        table.setdefault(name, Counter())[kind] += 1

    def visit(entities: object, inside: str | None) -> None:
        waiting = [(entities, inside)]
        while waiting:
            container, outer = waiting.pop()
            for entity in container:  # type: ignore[attr-defined]
                layer = layer_of(entity)
                kind = entity.dxftype()
                if outer is None:
                    add(layer, kind)
                elif layer == "0":
                    layer = outer  # part of what the INSERT is, which is counted
                    if kind in LINES:
                        add(layer, kind + INSIDE)
                elif kind != "ATTDEF":
                    add(layer, kind)
                if kind == "INSERT":
                    name = str(entity.dxf.get("name", ""))
                    block = opened.drawing.blocks.get(name)
                    key = f"{name.lower()}|{layer.lower()}"
                    if block is not None and key not in used:
                        used[key] = True
                        waiting.append((block, layer))

    visit(opened.drawing.modelspace(), None)
    if opened.lifted is not None:
        for head, count in zip(opened.heads, opened.lifted.of_each_head(), strict=True):
            table[spelling[layer_of(head).lower()]]["LWPOLYLINE"] += count
    return table


@dataclass
class _Reading:
    """One reading of one drawing."""

    file: str
    opened: Opened
    options: ReadOptions
    findings: list[Finding] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    lines: list[RawLine] = field(default_factory=list)
    vaults: list[RawVault] = field(default_factory=list)
    vault_labels: list[Label] = field(default_factory=list)
    other_labels: list[Label] = field(default_factory=list)
    skipped: dict[tuple[str, str, str], list[str]] = field(default_factory=lambda: defaultdict(list))
    hidden: dict[tuple[str, str], list[str]] = field(default_factory=lambda: defaultdict(list))
    loose: list[Piece] = field(default_factory=list)
    curves: dict[str, list[tuple[float, Where]]] = field(default_factory=lambda: defaultdict(list))
    guesses: tuple[Guess, ...] = ()

    def run(self) -> RawSurvey:
        options, where = self.options, Where(file=self.file)
        self.findings += self.opened.findings
        unit, said = drawing_units(self.opened, options, where)
        self.findings += said
        self.scale = UNITS[unit] if unit else 1.0
        elevation = (
            unit_named(options.elevation_units, "elevation_units") if options.elevation_units else unit
        )
        self.z_scale = UNITS[elevation] if elevation else self.scale
        # ten times closer than the shape of a line may be taken, so that the tightest radius is seen
        self.tolerance = 0.1 * options.chord_tolerance / self.scale
        table = layer_table(self.opened)
        refuse_garbled(list(table), "layer name", where)
        self._choose(table)
        self.blocks = Blocks(self.opened.drawing, self.file)
        self.vault_reader = VaultReader(
            self.blocks, self._attribute_names(), self.scale, self.z_scale, self.tolerance
        )
        self._model()
        self._close_rings()
        self._say_guesses()
        for choice in (self.duct_choice, self.vault_choice):
            choice.check(Where(file=self.file), tuple(self.findings))
        self._paper()
        if unit is None:
            raise no_units(self.opened, self.lines, self.vaults, where, tuple(self.findings))
        self._say_skipped(table)
        if not self.lines:
            there = Counter(kind for name in self.duct_layers for kind in table[name].elements())
            raise InputRefusedError(
                "nothing-to-read",
                "the duct layers hold no line: "
                + ", ".join(f"{n} {kind}" for kind, n in there.most_common(6)),
                Where(file=self.file, layer=", ".join(self.duct_layers[:6])),
                "choose the layers that hold the ducts",
                tuple(self.findings),
            )
        self._name_vaults()
        self.findings += self.vault_reader.findings
        crs = crs_.of_drawing(options.crs, unit, where)
        ground = Ground(self.scale, unit, crs, metres_per_elevation=self.z_scale)
        return RawSurvey(
            tuple(self.lines),
            tuple(self.vaults),
            ground,
            tuple(self.findings),
            dict(self.counts),
            {name: dict(kinds) for name, kinds in table.items()},
        )

    def _choose(self, table: Mapping[str, Counter[str]]) -> None:
        where = Where(file=self.file)
        for what, selection in (("ducts", self.options.ducts), ("vaults", self.options.vaults)):
            if selection.where is not None:
                raise InputRefusedError(
                    "no-filter-here",
                    f"{what} where = {selection.where!r}: entities of a drawing cannot be filtered by attribute",
                    where,
                    "choose them by layer, color, line type or block",
                )
        if not table:
            raise InputRefusedError(
                "nothing-to-read",
                "nothing stands in the drawing's model space",
                where,
                "check that the route is in model space, not in a paper layout or an external drawing",
                tuple(self.findings),
            )
        if self.options.ducts.fields:
            raise InputRefusedError(
                "missing-field",
                f"ducts {next(iter(self.options.ducts.fields))}: the lines of a drawing have no fields",
                where,
                "state what ducts are for the job or by layer",
            )
        if self.options.ducts.blocks:
            raise InputRefusedError(
                "no-filter-here",
                f"ducts block = {self.options.ducts.blocks[0]!r}: ducts are lines, and lines inside blocks are read anyway",
                where,
                "choose ducts by layer, color or line type; vaults by block",
            )
        can_be_ducts = lines_by_layer(table)
        can_be_vaults = marks_by_layer(table)
        told = self.options.ducts
        if told.look and not told.patterns:
            ducts: tuple[str, ...] = tuple(name for name, count in can_be_ducts.items() if count)
        else:
            ducts, said = chosen("ducts", told, can_be_ducts, where, required=True)
            self.findings += said
            can_be_vaults = {
                n: c for n, c in can_be_vaults.items() if self.options.vaults.patterns or n not in ducts
            }
        told = self.options.vaults
        vaults: tuple[str, ...] = ()
        if told.look and not told.patterns:
            if not told.blocks:
                vaults = tuple(name for name, count in can_be_vaults.items() if count)
        else:
            vaults, said = chosen(
                "vaults", told, can_be_vaults, where, required=False,
                by_elimination=False,  # a drawing is full of blocks that are no vaults
            )  # fmt: skip
            self.findings += said
            if not vaults:
                self.findings.append(without_vaults(can_be_vaults, where))
        self.duct_layers, self.vault_layers = ducts, vaults
        self.duct_choice = Choice("ducts", self.options.ducts, ducts, self.opened.drawing)
        self.vault_choice = Choice("vaults", self.options.vaults, vaults, self.opened.drawing)
        for name in (*ducts, *vaults):
            layer = self.opened.drawing.layers.get(name) if name in self.opened.drawing.layers else None
            if layer is not None and (layer.is_off() or layer.is_frozen()):
                self._find(
                    "layer-hidden",
                    "warning",
                    "the layer is switched off or frozen in the drawing; it is read all the same",
                    Where(file=self.file, layer=name),
                    "check that it is meant, or choose another layer",
                )
        for name in ducts:
            kinds = table[name]
            if kinds and all(kind in _PROXIES for kind in kinds):
                raise InputRefusedError(
                    "proxies-only",
                    f"all {sum(kinds.values())} entities of the layer are proxies of another program",
                    Where(file=self.file, layer=name),
                    "export the drawing as polylines from the program that made it",
                    tuple(self.findings),
                )

    def _attribute_names(self) -> dict[str, str]:
        """Return our name for each attribute tag, as told or guessed."""
        told = {name.upper(): ours for ours, name in self.options.vaults.fields.items()}
        tags: dict[str, None] = {}
        for block in self.opened.drawing.blocks:
            if block.is_any_layout:
                continue
            for definition in block.attdefs():
                tags.setdefault(str(definition.dxf.get("tag", "")).strip().upper())
        for insert in self.opened.drawing.modelspace().query("INSERT"):
            if self._is_vault_insert(Placed(insert, layer_of(insert), str(insert.dxf.get("handle", "?")))):
                for attrib in attributes_of(insert):
                    tags.setdefault(str(attrib.dxf.get("tag", "")).strip().upper())
        where = Where(file=self.file, layer=", ".join(self.vault_layers))
        for tag, ours in told.items():
            if tags and tag not in tags:
                raise InputRefusedError(
                    "missing-field",
                    f"no block has an attribute {tag!r} for vaults {ours}",
                    where,
                    "the attributes are " + ", ".join(repr(t) for t in sorted(tags)),
                    tuple(self.findings),
                )
        open_names = [name for name in _VAULT_FIELDS if name not in self.options.vaults.fields]
        self.guesses = fields_like(open_names, [t for t in tags if t and t not in told])
        return told | {guess.name: guess.what for guess in self.guesses}

    def _say_guesses(self) -> None:
        """Say which attributes were guessed, of those that any vault has."""
        for guess in self.guesses:
            if any(guess.what in vault.fields for vault in self.vaults):
                self._find(
                    "field-guessed",
                    "info",
                    f"attribute {guess.name!r} is taken for the vaults' {guess.what}: {guess.reason}",
                    Where(file=self.file, layer=", ".join(self.vault_layers)),
                    f"state the attribute that holds the {guess.what}",
                )

    # -- the entities ------------------------------------------------------------------------------------

    def _model(self) -> None:
        total = 0
        light = LightLines(self.file, self.scale, self.z_scale)
        lines = self.lines
        plain: dict[str, bool] = {}
        behind = self._lifted()
        for entity in self.opened.drawing.modelspace():
            kind = entity.dxftype()
            if kind == "LWPOLYLINE":
                layer = layer_of(entity)
                if layer not in plain:
                    plain[layer] = self._only_ducts(layer)
                if plain[layer] and light.take(entity, layer, len(lines)):
                    lines.append(ASIDE)
                    self.counts["read LWPOLYLINE"] += 1
                    if light.full:
                        light.into(lines, self._one_light)
                    self._take_lifted(behind, entity)
                    continue
            placed = Placed(entity, layer_of(entity), str(entity.dxf.get("handle", "?")))
            used = False
            if kind == "INSERT" and not self._is_vault_insert(placed):
                used, total = self._expand(placed, total)
            elif kind == "INSERT" or self._wanted(placed.layer):
                used = self._take(placed)
            elif kind in TEXT_KINDS:
                self._label(placed, self.other_labels)
            self.counts[f"read {kind}" if used else f"skipped {kind}"] += 1
            if used and is_hidden(entity):
                self.hidden[placed.layer, kind].append(placed.id)
            self._take_lifted(behind, entity)
        light.into(lines, self._one_light)
        self.lines = [line for line in lines if line is not ASIDE]

    def _lifted(self) -> dict[str, list[RawLine]]:
        """Return the runs of lifted polylines as lines, by the handle of the polyline they follow."""
        lifted = self.opened.lifted
        if lifted is None:
            return {}
        layers = [layer_of(head) for head in self.opened.heads]
        ducts = [self._only_ducts(layer) for layer in layers]
        if any(self._wanted(layer) for layer, duct in zip(layers, ducts, strict=True) if not duct):
            raise NotPlainError
        made = lifted_lines(lifted, self.opened.heads, layers, ducts, self.file, self.scale, self.z_scale)
        return {handle: made[first:last] for handle, (first, last) in lifted.places.items()}

    def _take_lifted(self, behind: dict[str, list[RawLine]], entity: DXFEntity) -> None:
        """Take the lifted polylines that follow an entity in the file, if any do."""
        if not behind or entity.dxftype() != "LWPOLYLINE":
            return
        run = behind.pop(str(entity.dxf.get("handle")), [])
        read = sum(line is not ASIDE for line in run)
        self.lines += run
        self.counts["read LWPOLYLINE"] += read
        self.counts["skipped LWPOLYLINE"] += len(run) - read

    def _only_ducts(self, layer: str) -> bool:
        """Return whether every light polyline on a layer is a duct, whatever it looks like."""
        return self.duct_choice.on(layer) and not self.options.ducts.look and not self.vault_choice.on(layer)

    def _one_light(self, placed: Placed) -> RawLine | None:
        before = len(self.lines)
        if self._take(placed):
            return self.lines.pop(before)
        self.counts["read LWPOLYLINE"] -= 1
        self.counts["skipped LWPOLYLINE"] += 1
        return None

    def _is_vault_insert(self, placed: Placed) -> bool:
        return placed.entity.dxftype() == "INSERT" and self.vault_choice.takes(placed)

    def _wanted_block(self, name: str) -> bool:
        return not self.vault_layers and self.vault_choice.block(name)

    def _expand(self, placed: Placed, total: int) -> tuple[bool, int]:
        """Read what stands inside an INSERT that is no vault."""
        name = str(placed.entity.dxf.get("name", ""))
        where = Where(file=self.file, layer=placed.layer, id=placed.id)
        facts = self.blocks.facts(name)
        if facts.external:
            if facts.external != "missing":
                self._find(
                    "xref-missing",
                    "error" if self.duct_choice.on(placed.layer) else "warning",
                    f"block {name!r} is an external drawing, {facts.external!r}, and is not read",
                    where,
                    "bind the external drawing into this one",
                )
            return False, total
        if not self.blocks.reaches(placed.entity, placed.layer, self._wanted, self._wanted_block):
            return False, total
        total += self.blocks.expansion(placed.entity)
        if total > MOST_ENTITIES:
            raise InputRefusedError(
                "blocks-too-large",
                f"block {name!r} expands to {self.blocks.expansion(placed.entity)} entities, and the drawing may "
                f"hold {MOST_ENTITIES} in all",
                where,
                "explode what is needed and delete the rest",
                tuple(self.findings),
            )
        used = False
        for inner in expanded(
            self.blocks, placed, self._wanted, self._is_vault_insert, self.scale, self._wanted_block
        ):
            took = self._take(inner)
            used |= took
            self.counts[f"{'read' if took else 'skipped'} {inner.entity.dxftype()} inside blocks"] += 1
        return used, total

    def _wanted(self, layer: str) -> bool:
        return self.duct_choice.on(layer) or self.vault_choice.on(layer)

    def _take(self, placed: Placed) -> bool:
        """Read an entity of a duct or vault layer; say why not where it cannot be."""
        kind = placed.entity.dxftype()
        if placed.inside is not None and is_hidden(placed.entity):
            self.skipped[placed.layer, kind, _OTHER_STATE].append(placed.id)
            return False
        drawn = kind in LINES or kind in VAULT_KINDS
        duct = self.duct_choice.takes(placed) if drawn else self.duct_choice.on(placed.layer)
        vault = self.vault_choice.takes(placed) if drawn else self.vault_choice.on(placed.layer)
        if drawn and not (duct or vault):
            self.skipped[placed.layer, kind, _OTHER_LOOK].append(placed.id)
            return False
        try:
            if vault and kind in VAULT_KINDS and not (duct and kind not in {"INSERT", "POINT", "CIRCLE"}):
                self.vaults += list(self.vault_reader.read(placed))
                return True
            if vault and kind in TEXT_KINDS:
                return self._label(placed, self.vault_labels)
            if kind in TEXT_KINDS:
                self._label(placed, self.other_labels)
            if vault and not duct and kind in {"LINE", "ARC"}:
                where = Where(file=self.file, layer=placed.layer, id=placed.id)
                shape = carried(placed, self.tolerance, self.scale, where)
                self.loose.append(Piece(placed.id, placed.layer, kind, shape))
                return True  # until it is known whether it closes a ring
            if duct and kind in LINES and kind != "CIRCLE":
                self._line(placed)
                return True
        except NotALineError as reason:
            self.skipped[placed.layer, kind, str(reason)].append(placed.id)
            return False
        what = "a circle is no duct" if duct and kind == "CIRCLE" else ""
        self.skipped[placed.layer, kind, what].append(placed.id)
        return False

    def _line(self, placed: Placed) -> None:
        where = Where(file=self.file, layer=placed.layer, id=placed.id)
        shape = carried(placed, self.tolerance, self.scale, where)
        points = shape.points * (self.scale, self.scale, self.z_scale)
        if shape.off is not None:
            at = replace(where, x=float(points[0, 0]), y=float(points[0, 1]))
            self.curves[placed.layer].append((shape.off, at))
        self.lines.append(
            RawLine(
                points,
                shape.bulge,
                (placed.id,) * shape.bulge.size,
                True,
                where=Where(self.file, placed.layer, placed.id, float(points[0, 0]), float(points[0, 1])),
            )
        )

    def _close_rings(self) -> None:
        """Make vaults of the loose lines that close rings; the others were not read after all."""
        found, rest = closed_rings(self.loose, self.scale, self.tolerance, self.file)
        self.vaults += found
        for piece in rest:
            inside = " inside blocks" if "/" in piece.id else ""
            self.counts[f"read {piece.kind}{inside}"] -= 1
            self.counts[f"skipped {piece.kind}{inside}"] += 1
            self.skipped[piece.layer, piece.kind, "it closes no outline of a vault"].append(piece.id)
        self.counts = +self.counts

    def _label(self, placed: Placed, labels: list[Label]) -> bool:
        label = label_of(placed, self.scale, self.file)
        if label is None:
            return False
        if label.cut:
            where = Where(self.file, placed.layer, placed.id, label.x, label.y)
            self.findings.append(text_cut("text", where))
        labels.append(label)
        return labels is self.vault_labels

    def _paper(self) -> None:
        """Count what stands in paper space, which is never read."""
        lost: Counter[str] = Counter()
        for layout in self.opened.drawing.layouts:
            if layout.is_modelspace:
                continue
            for entity in layout:
                self.counts[f"skipped {entity.dxftype()}"] += 1
                if self._wanted(layer_of(entity)) and entity.dxftype() not in _NOTES:
                    lost[layout.name] += 1
        for name, count in lost.items():
            self._find(
                "paper-space",
                "warning",
                f"{count} entities on the chosen layers stand in the paper layout {name!r} and are not read",
                Where(file=self.file),
                "move them to model space if they are part of the route",
            )

    # -- afterwards --------------------------------------------------------------------------------------

    def _say_skipped(self, table: Mapping[str, Counter[str]]) -> None:
        for (layer, kind, reason), ids in self.skipped.items():
            severity: Severity = "info" if kind in _NOTES or reason == _OTHER_LOOK else "warning"
            severity = "error" if kind in _PROXIES else severity
            remedy = "redraw as lines, arcs or polylines if it is part of the route"
            remedy = "show it in the drawing if it is part of the route" if reason == _OTHER_STATE else remedy
            proxy = " made by another program" if kind in _PROXIES else ""
            self._find(
                "entity-skipped",
                severity,
                f"{len(ids)} {kind}{proxy} not read"
                + (f": {reason}" if reason else "")
                + f" (handles {_some(ids)})",
                Where(file=self.file, layer=layer, id=ids[0]),
                "" if severity == "info" else remedy,
            )
        for (layer, kind), ids in self.hidden.items():
            self._find(
                "entity-hidden",
                "warning",
                f"{len(ids)} {kind} hidden in the drawing, each by itself, and read all the same (handles {_some(ids)})",
                Where(file=self.file, layer=layer, id=ids[0]),
                "delete them in the drawing if they are no part of the route",
            )
        for curves in self.curves.values():
            most, at = max(curves, key=lambda curve: curve[0])
            self._find(
                "curve-followed",
                "info",
                f"{len(curves)} curves that are not arcs in plan (splines, ellipses, tilted or stretched arcs) are drawn "
                f"anew as arcs and straights, {most * self.scale * 1000:.3g} mm off at most, here",
                at,
                "none needed; redraw them as arcs if they are meant to be arcs",
            )

    def _name_vaults(self) -> None:
        refuse_garbled([v.tag for v in self.vaults], "vault tag", Where(file=self.file))
        # a text on a vault layer goes before a nearer one that may be about something else
        for labels in (self.vault_labels, self.other_labels):
            named, said = named_by_text(self.vaults, labels, self.options.text_reach, self.file)
            self.vaults = list(named)
            self.findings += said

    def _find(self, code: str, severity: Severity, message: str, where: Where, remedy: str) -> None:
        self.findings.append(Finding(code, severity, message, where, remedy))


def _some(ids: Sequence[str]) -> str:
    return ", ".join(ids[:5]) + (f" and {len(ids) - 5} more" if len(ids) > 5 else "")

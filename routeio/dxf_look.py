"""What of a drawing is meant: entities by layer, and by colour, line type or block where the user says so."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from routeio.dxf_blocks import Placed
from routeio.findings import Finding, InputRefusedError, Where
from routeio.layers import matcher
from routeio.options import Selection

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.entities import DXFEntity

#: Colours of the index that stand for another's (DXF reference, group code 62).
_BY_BLOCK, _BY_LAYER = 0, 256
#: No more values than this in one message.
_MOST_LISTED = 40


@dataclass
class Choice:
    """What is taken for ducts, or for vaults.

    Parameters
    ----------
    what : {"ducts", "vaults"}
        Which.
    selection : Selection
        As the user said it.
    layers : tuple of str
        Layers it means, as the file spells them; empty where blocks are chosen by name alone, on any layer.
    drawing : ezdxf.document.Drawing
        Whose layers colours and line types may be taken from.
    """

    what: Literal["ducts", "vaults"]
    selection: Selection
    layers: tuple[str, ...]
    drawing: Drawing
    _seen: dict[str, dict[str, set[str]]] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        self._names = {name.lower() for name in self.layers}
        self._block = matcher(self.selection.blocks)
        self._linetype = matcher(self.selection.linetypes)
        self._colors = {color.lower() for color in self.selection.colors}

    def on(self, layer: str) -> bool:
        """Return whether a layer is one of those meant."""
        return layer.lower() in self._names

    def block(self, name: str) -> bool:
        """Return whether blocks are chosen by name, and this is one of them."""
        return bool(self.selection.blocks) and self._block(name)

    def takes(self, placed: Placed) -> bool:
        """Return whether an entity is meant, and remember its look for :meth:`check`."""
        if not (self.on(placed.layer) or (self.selection.blocks and not self.layers)):
            return False
        if self.selection.blocks:
            if placed.entity.dxftype() != "INSERT":
                return False
            if not self._is(placed, "block", str(placed.entity.dxf.get("name", "")), self._block):
                return False
        if self._colors and not self._is(placed, "color", self._color(placed), self._colors.__contains__):
            return False
        return not self.selection.linetypes or self._is(
            placed, "linetype", self._line_type(placed), self._linetype
        )

    def _is(self, placed: Placed, what: str, value: str, wanted: Callable[[str], bool]) -> bool:
        self._seen.setdefault(what, {}).setdefault(value, set()).add(placed.id)
        return wanted(value)

    def check(self, where: Where, findings: tuple[Finding, ...]) -> None:
        """Refuse a colour, line type or block that nothing has.

        Parameters
        ----------
        where : Where
            The file.
        findings : tuple of Finding
            So far.

        Raises
        ------
        InputRefusedError
            ``missing-look``, listing those there are.
        """
        for name, stated in (
            ("block", self.selection.blocks),
            ("color", self.selection.colors),
            ("linetype", self.selection.linetypes),
        ):
            seen = {value: len(ids) for value, ids in self._seen.get(name, {}).items()}
            for value in stated:
                wanted = matcher([value])
                if not any(wanted(there) for there in seen):
                    raise InputRefusedError(
                        "missing-look",
                        f"nothing {'on the layers ' if self.layers else ''}chosen for {self.what} has {name} {value!r}",
                        Where(file=where.file, layer=", ".join(self.layers[:6])),
                        _listed(name, seen.items()) if seen else f"choose without {name}, or other layers",
                        findings,
                    )

    # -- BYLAYER and BYBLOCK resolved --------------------------------------------------------------------

    def _color(self, placed: Placed) -> str:
        entity = placed.entity
        true = _property(entity, "true_color", None)
        if true is not None:
            return _hex(true)
        index = int(_property(entity, "color", _BY_LAYER))  # type: ignore[call-overload]
        if index == _BY_BLOCK:
            return "7" if placed.inside is None else self._color(placed.inside)
        if index != _BY_LAYER:
            return str(abs(index))
        if placed.layer not in self.drawing.layers:
            return "7"
        layer = self.drawing.layers.get(placed.layer)
        true = layer.dxf.get("true_color", None)
        return str(layer.color) if true is None else _hex(true)

    def _line_type(self, placed: Placed) -> str:
        name = str(_property(placed.entity, "linetype", "BYLAYER"))
        if name.upper() == "BYBLOCK":
            return "CONTINUOUS" if placed.inside is None else self._line_type(placed.inside)
        if name.upper() == "BYLAYER":
            if placed.layer not in self.drawing.layers:
                return "CONTINUOUS"
            name = str(self.drawing.layers.get(placed.layer).dxf.get("linetype", "CONTINUOUS"))
        return name


def _property(entity: DXFEntity, name: str, default: object) -> object:
    return entity.dxf.get(name, default) if entity.dxf.is_supported(name) else default


def _hex(true_color: object) -> str:
    return f"#{int(true_color) & 0xFFFFFF:06x}"  # type: ignore[call-overload]


def _listed(what: str, values: Iterable[tuple[str, int]]) -> str:
    plural = {"color": "the colors are ", "linetype": "the line types are ", "block": "the blocks are "}[what]
    by_count = sorted(values, key=lambda pair: (-pair[1], pair[0]))
    more = f" and {len(by_count) - _MOST_LISTED} more" if len(by_count) > _MOST_LISTED else ""
    return plural + ", ".join(f"{v} ({n} entities)" for v, n in by_count[:_MOST_LISTED]) + more

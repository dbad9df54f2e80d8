"""Layers of a drawing: how much on each can be ducts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from routeio.dxf_shapes import LINES
from routeio.guess import layers_like

#: After the kind of lines that take the layer of their block's INSERT.
INSIDE = " inside blocks"


def lines_by_layer(table: Mapping[str, Counter[str]]) -> dict[str, int]:
    """Return how much on each layer can be ducts.

    Parameters
    ----------
    table : mapping of str to Counter
        As :func:`routeio.dxf.layer_table` returns it.

    Returns
    -------
    dict of str to int
        Lines; those inside blocks only on layers whose names say ducts, since symbols are made of lines too.
    """
    drawn = {name: sum(kinds[kind] for kind in LINES) for name, kinds in table.items()}
    inside = {
        name: count + sum(table[name][kind + INSIDE] for kind in LINES - {"CIRCLE"})
        for name, count in drawn.items()
    }
    named = {guess.name for guess in layers_like("ducts", inside, by_elimination=False)}
    return {name: inside[name] if name in named else count for name, count in drawn.items()}

"""Layers of a drawing: which of them look like ducts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from routeio.dxf_shapes import LINES
from routeio.dxf_vaults import VAULT_KINDS
from routeio.guess import Guess, layers_like
from routeio.write_dxf import IN_SPACE

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


def marks_by_layer(table: Mapping[str, Counter[str]]) -> dict[str, int]:
    """Return how much on each layer can be vaults.

    Parameters
    ----------
    table : mapping of str to Counter
        As :func:`routeio.dxf.layer_table` returns it.

    Returns
    -------
    dict of str to int
        Blocks, points and closed shapes; outlines of loose lines and arcs only where no layer with any of these has a
        name that says vaults.
    """
    marks = {name: sum(kinds[kind] for kind in VAULT_KINDS) for name, kinds in table.items()}
    if layers_like("vaults", marks, by_elimination=False):
        return marks
    return {name: marks[name] or (kinds["LINE"] + kinds["ARC"]) // 2 for name, kinds in table.items()}


def ducts_guessed(table: Mapping[str, Counter[str]]) -> tuple[Guess, ...]:
    """Return the layers whose names sound like ducts, or the one on which a drawing of our own has them in space.

    Parameters
    ----------
    table : mapping of str to Counter
        As :func:`routeio.dxf.layer_table` returns it.

    Returns
    -------
    tuple of Guess
        Each with its reason.
    """
    counts = lines_by_layer(table)
    aside = {guess.name for guess in layers_like("vaults", dict.fromkeys(table, 1), by_elimination=False)}
    plan = sum(kinds["LWPOLYLINE"] for name, kinds in table.items() if name not in aside | {IN_SPACE})
    in_space = table.get(IN_SPACE, Counter[str]())["POLYLINE"]
    if in_space and in_space == plan:
        reason = f"the {plan} ducts that this program wrote in plan stand on it with their elevations"
        return (Guess("ducts", IN_SPACE, reason),)
    return layers_like("ducts", counts)

"""What pulling a cable along a chain of straights and curves does: numbers only.

A first calculation, and the way into the rest::

    chain = Chain(length=[...], grade_in=[...], grade_out=[...], turn=[...])      # m, rad
    tension = tension_along(chain, weight=w, friction=c, entry=0.0)               # exit tension of each segment, N

A whole pull, with its checks, is :func:`evaluate_pull`; quantities with units are read by
:func:`mechanics.units.quantity`, the one place that needs pint.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from mechanics.balance import tension_along
    from mechanics.bundle import Lie, lie
    from mechanics.cable import Bundle, Cable
    from mechanics.centreline import place
    from mechanics.chain import Chain
    from mechanics.crossing import Crossing, vault_crossing
    from mechanics.errors import DomainError
    from mechanics.interval import carry_interval, entry_for, greatest_entry, holding_tension
    from mechanics.layout import Layout
    from mechanics.lubricant import LubricantPlan, plan_lubricant
    from mechanics.pull import PullResult, evaluate_pull
    from mechanics.rules import Check, Override, Rules
    from mechanics.track import Bore, Friction, Track

__all__ = [
    "Bore",
    "Bundle",
    "Cable",
    "Chain",
    "Check",
    "Crossing",
    "DomainError",
    "Friction",
    "Layout",
    "Lie",
    "LubricantPlan",
    "Override",
    "PullResult",
    "Rules",
    "Track",
    "carry_interval",
    "entry_for",
    "evaluate_pull",
    "greatest_entry",
    "holding_tension",
    "lie",
    "place",
    "plan_lubricant",
    "tension_along",
    "vault_crossing",
]

#: Where the names are. Most of what uses this package needs few of them, and not the library of units.
_HOMES = {
    "balance": ("tension_along",),
    "bundle": (
        "Lie",
        "lie",
    ),
    "cable": (
        "Bundle",
        "Cable",
    ),
    "centreline": ("place",),
    "chain": ("Chain",),
    "crossing": (
        "Crossing",
        "vault_crossing",
    ),
    "errors": ("DomainError",),
    "interval": (
        "carry_interval",
        "entry_for",
        "greatest_entry",
        "holding_tension",
    ),
    "layout": ("Layout",),
    "lubricant": (
        "LubricantPlan",
        "plan_lubricant",
    ),
    "pull": (
        "PullResult",
        "evaluate_pull",
    ),
    "rules": (
        "Check",
        "Override",
        "Rules",
    ),
    "track": (
        "Bore",
        "Friction",
        "Track",
    ),
}


def __getattr__(name: str) -> object:
    """Import a name when it is first asked for."""
    for home, names in _HOMES.items():
        if name in names:
            found = globals()[name] = getattr(import_module(f"{__name__}.{home}"), name)
            return found
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")

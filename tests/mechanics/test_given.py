"""Every public name, given what it is not made for: a DomainError that names the argument, or a right answer.

Each argument of each name in turn takes each of ``BAD`` in place of something sound. What is legal for it stands in the
table; anything else has to be refused by the argument's name.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import pint
import pytest

import mechanics
from mechanics import arrangement, forms, forms_vertical, limits, lubricant, packing, tables, units
from mechanics.bundle import weight_of
from mechanics.contact import PressedFriction
from mechanics.friction import friction_after
from mechanics.passage import Passage

units_of_pint: Any = pint.UnitRegistry()
BAD: dict[str, object] = {
    "None": None,
    "word": "x",
    "figure": "1",
    "two": [1.0, 2.0],
    "words": ["x", "1"],
    "empty": [],
    "nan": math.nan,
    "inf": math.inf,
    "below": -1.0,
    "zero": 0.0,
    "half": 0.5,
    "complex": 1 + 2j,
    "complexes": np.array([1 + 2j]),
    "truth": True,
    "table": {},
    "grid": [[1.0, 2.0], [3.0]],
    "masked": np.ma.array([9.0, 5.0], mask=[False, True]),
}
ANY = "below zero half"  # one number, whatever it is
LEAST = "zero half"  # one number, at least 0
ABOVE = "half"  # one number, above 0
NAME = "word figure"

STRAIGHT = mechanics.Chain([9.0, 5.0, 6.0], [0.0] * 3, [0.0] * 3, [0.0, 1.0, 0.0])
CABLE = mechanics.Cable(diameter=0.04, weight=25.0, conductor_area=2e-4)
BUNDLE = mechanics.Bundle((CABLE,) * 3)
FRICTION = mechanics.Friction(0.2)
BORE = mechanics.Bore(0.13, FRICTION)
TRACK = mechanics.Track(STRAIGHT, np.zeros(3, dtype=np.int64), (BORE,), ((1, 2),), ("V",))
RULES = mechanics.Rules()
RUN = lubricant.Run((9.0,), (0.1,))
ROW = {"length": [9.0, 5.0], "grade_in": [0.0, 0.0], "grade_out": [0.0, 0.0], "turn": [0.0, 1.0]}
PULL = {"chain": STRAIGHT, "weight": 20.0, "friction": 0.3}

# name: what is called, sound arguments, and for each argument to be walked what of BAD is legal
WALK: list[tuple[Callable[..., Any], dict[str, Any], dict[str, str]]] = [
    (
        mechanics.Chain,
        ROW,
        {"length": "two", "grade_in": "", "grade_out": "", "turn": "two", "offsets": "None"},
    ),
    (
        mechanics.Friction,
        {"lubricated": 0.2, "pressed": 0.1, "press_force": 9.0},
        {
            "lubricated": ABOVE,
            "dry": "None half",
            "hold": "None half",
            "pressed": ABOVE,
            "press_force": ABOVE,
        },
    ),
    (
        mechanics.Bore,
        {"inside_diameter": 0.1, "friction": FRICTION},
        {
            "inside_diameter": "None half",
            "friction": "",
            "guide": "truth",
            "label": NAME,
            "assumed": "empty words",
            "waviness": LEAST,
            "flooded": "truth",
        },
    ),
    (
        mechanics.Track,
        {"chain": STRAIGHT, "bore": [0, 0, 0], "bores": (BORE,), "vaults": (), "tags": ()},
        {"chain": "", "bore": "", "bores": "", "vaults": "empty", "tags": "empty"},
    ),
    (
        mechanics.Cable,
        {"diameter": 0.04, "weight": 25.0},
        {
            "diameter": ABOVE,
            "weight": ABOVE,
            "material": "",
            "conductor_area": "None half",
            "conductors": "",
            "temper": NAME,
            "construction": NAME,
            "jacket": NAME,
            "role": "",
            "sheath_area": "None zero half",
            "name": NAME,
        },
    ),
    (
        mechanics.Bundle,
        {"cables": (CABLE,)},
        {
            "cables": "empty",  # how many go together is seen where they are laid in a duct
            "arrangement": "None word figure",
            "triplexed": "truth",
            "weight_correction": "None half",
            "sidewall_factor": "None half",
        },
    ),
    (mechanics.Override, {}, {"limit": f"None {ANY}", "binding": "None truth"}),
    (
        mechanics.Rules,
        {},
        {
            "entry": LEAST,
            "attachment": "",
            "max_sidewall": "None half",
            "overrides": "table",
            "practice": "",
            "low_friction_factor": "None half",
            "restart_factor": "",
            "slack": LEAST,
            "reel": "None half",
            "pusher": LEAST,
            "assists": "table",
            "temperature": f"None {ANY}",
            "lubricant_factor": ABOVE,
            "puller": "None half",
            "rope_friction": "None half",
            "tables": "None",
        },
    ),
    (mechanics.Layout, {"chain": STRAIGHT}, {"chain": ""}),
    (
        mechanics.tension_along,
        PULL,
        {"chain": "", "weight": LEAST, "friction": LEAST, "entry": ANY, "added": f"None {ANY}"},
    ),
    (
        mechanics.holding_tension,
        PULL,
        {"chain": "", "weight": LEAST, "friction": LEAST, "added": f"None {ANY}"},
    ),
    (
        mechanics.greatest_entry,
        PULL | {"upper": 1e4},
        {"chain": "", "weight": LEAST, "friction": LEAST, "upper": "half inf", "added": f"None {ANY}"},
    ),
    (
        mechanics.carry_interval,
        PULL | {"low": 0.0, "high": 1e3},
        # either end may be a row, one an interval; an end that is infinite is no end
        {
            "chain": "",
            "weight": LEAST,
            "friction": LEAST,
            "low": f"{ANY} two empty inf",
            "high": f"{ANY} two empty inf",
            "upper": "half inf",
            "added": f"None {ANY}",
        },
    ),
    (
        mechanics.entry_for,
        PULL | {"exit_tension": 1e3},
        {"chain": "", "weight": LEAST, "friction": LEAST, "exit_tension": ANY, "added": f"None {ANY}"},
    ),
    (
        Passage,
        PULL,
        {"chain": "", "weight": LEAST, "friction": LEAST, "upper": "half inf", "added": f"None {ANY}"},
    ),
    (PressedFriction, {"light": 0.2, "pressed": 0.1, "force": 9.0}, {"light": "zero half two empty"}),
    (
        mechanics.evaluate_pull,
        {"track": TRACK, "bundle": BUNDLE, "rules": RULES},
        {"track": "", "bundle": "", "rules": "", "relube": "empty"},
    ),
    (
        mechanics.lie,
        {"bundle": BUNDLE, "inside_diameter": 0.13},
        {"bundle": "", "inside_diameter": ABOVE, "tables": "None"},
    ),
    (weight_of, {"bundle": BUNDLE}, {"bundle": "", "flooded": "truth"}),
    (
        mechanics.place,
        {"chain": STRAIGHT, "start": (0.0, 0.0, 0.0), "heading": 0.0},
        {"chain": "", "start": "", "heading": ANY, "sagitta": "None half"},
    ),
    (
        mechanics.vault_crossing,
        {
            "offset": (3.0, 0.0, 1.0),
            "heading_in": 0.0,
            "grade_in": 0.0,
            "heading_out": 0.0,
            "grade_out": 0.0,
            "radius": 0.9,
        },
        {
            "offset": "",
            "heading_in": ANY,
            "grade_in": ANY,
            "heading_out": ANY,
            "grade_out": ANY,
            "radius": ABOVE,
            "least_angle": LEAST,
        },
    ),
    (
        mechanics.plan_lubricant,
        {"runs": [RUN], "vaults": []},
        {"runs": "", "vaults": "empty", "factor": ABOVE, "temperature": f"None {ANY}", "tables": "None"},
    ),
    (
        lubricant.Run,
        {"lengths": (9.0,), "diameters": (0.1,)},
        {"lengths": "", "diameters": "", "first_grade": ANY, "steepest_rise": ANY},
    ),
    (
        lubricant.base_quantity,
        {"length": 9.0, "inside_diameter": 0.1},
        {"length": LEAST, "inside_diameter": ABOVE, "factor": ABOVE},
    ),
    (
        friction_after,
        {"friction": FRICTION, "distance": 1.0},
        {"friction": "", "distance": "zero half two empty"},
    ),
    (limits.conductor_limit, {"bundle": BUNDLE}, {"bundle": "", "practice": "", "tables": "None"}),
    (limits.attachment_limits, {"bundle": BUNDLE}, {"bundle": "", "attachment": "", "tables": "None"}),
    (limits.sidewall_limit, {"bundle": BUNDLE}, {"bundle": "", "stated": "None half", "tables": "None"}),
    (limits.bending_limit, {"bundle": BUNDLE}, {"bundle": "", "pulling": "truth", "tables": "None"}),
    (
        arrangement.weight_correction,
        {"arrangement": "cradled", "inside_diameter": 3.0, "diameter": 1.0},
        {"arrangement": "", "inside_diameter": "empty", "diameter": "half empty", "cables": "None"},
    ),
    (
        forms.flat_bend,
        {"entry": 9.0, "weight": 5.0, "friction": 0.3, "radius": 3.0, "turn": 1.0},
        {
            "entry": "zero half two empty",
            "weight": "zero half two empty",
            "friction": "zero half two empty",
            "radius": "half two empty",
        },
    ),
    (
        forms_vertical.sag_up,
        {"entry": 900.0, "weight": 5.0, "friction": 0.3, "radius": 3.0, "angle": 1.0},
        {"weight": "zero half two empty", "friction": "zero half two empty"},
    ),
    (units.quantity, {"text": "5 ft", "kind": "length"}, {"kind": ""}),
    (units.factor, {"unit": "ft", "kind": "length"}, {"unit": "", "kind": ""}),
    (
        units.show,
        {"value": 1.0, "kind": "length", "system": "us"},
        {"value": ANY, "kind": "", "system": "", "decimals": "None"},
    ),
    (units.gauge_area, {"gauge": 4}, {"gauge": ""}),
    (
        tables.inside_diameter,
        {"trade_size": "5", "kind": "PVC 40"},
        {"trade_size": "figure", "tables": "None"},
    ),
    (
        tables.friction_default,
        {"jacket": "PVC", "kind": "PVC 40"},
        {"jacket": NAME, "kind": NAME, "tables": "None"},
    ),
    (tables.Tables, {}, {"folder": "None"}),
    (packing.enclosing, {"diameters": [1.0]}, {"diameters": "two"}),
    (STRAIGHT.part, {"start": 0, "stop": 1}, {"start": "", "stop": ""}),
    (STRAIGHT.chain, {"index": 0}, {"index": ""}),
    (mechanics.Chain.joined, {"chains": [STRAIGHT]}, {"chains": "empty"}),
]
CASES = [(call, good, name, legal) for call, good, walked in WALK for name, legal in walked.items()]


@pytest.mark.parametrize(
    ("call", "good", "name", "legal"), CASES, ids=[f"{c[0].__name__}-{c[2]}" for c in CASES]
)
def test_refused_by_name_or_answered(
    call: Callable[..., Any], good: dict[str, Any], name: str, legal: str
) -> None:
    wrong = []
    for what, value in BAD.items():
        try:
            with warnings.catch_warnings(action="error"):
                call(**(good | {name: value}))
            refused = ""
        except mechanics.DomainError as error:
            refused = str(error)
        except (TypeError, ValueError, LookupError, AttributeError, Warning) as error:
            wrong.append(f"{what}: {type(error).__name__}: {error}")
            continue
        if what in legal.split():
            wrong += [f"{what}: refused, {refused}"] * bool(refused)
        elif not refused:
            wrong.append(f"{what}: taken")
        elif name not in refused or "must" not in refused:
            wrong.append(f"{what}: says {refused}")
    assert not wrong, "\n".join(wrong)


def test_every_public_name_is_walked() -> None:
    made_here = {
        "Check",
        "Crossing",
        "DomainError",
        "Lie",
        "LubricantPlan",
        "PullResult",
    }  # results, not arguments
    assert {call.__name__ for call, *_ in WALK} >= set(mechanics.__all__) - made_here


def test_a_quantity_with_a_unit_is_no_number() -> None:
    # numpy would take 500 ft for 500
    with pytest.raises(mechanics.DomainError, match="length must be plain numbers in SI units"):
        forms.straight(0.0, 20.0, 0.3, units_of_pint.Quantity(500, "ft"))


@pytest.mark.parametrize("rows", [["1", "2"], [1 + 0j, 2 + 0j], [None, 1.0]])
def test_a_chain_of_no_numbers(rows: list[Any]) -> None:
    with pytest.raises(mechanics.DomainError, match=r"length\[0\] must be a real number"):
        mechanics.Chain(rows, [0.0, 0.0], [0.0, 0.0], [0.0, 0.0])


def test_one_number_in_an_array_is_no_sequence() -> None:
    for call in (
        mechanics.Bundle,
        lambda one: mechanics.Track(STRAIGHT, np.zeros(3, dtype=np.int64), one),
        lambda one: mechanics.plan_lubricant(one, []),
        lambda one: mechanics.evaluate_pull(TRACK, BUNDLE, RULES, one),
    ):
        with pytest.raises(mechanics.DomainError, match=r"must be a sequence|must be a row|whole numbers"):
            call(np.array(1))


def test_a_tension_that_no_float_holds() -> None:
    bend = mechanics.Chain([9.0, 5.0], [-0.3, 0.0], [-0.3, 0.0], [0.0, 1.0])
    for call in (mechanics.tension_along, mechanics.entry_for):
        with pytest.raises(mechanics.DomainError, match="beyond what a float holds"):
            call(bend, 20.0, 0.3, 1.7e308)
    with pytest.raises(mechanics.DomainError, match="must be finite, got nan"):
        mechanics.holding_tension(bend, 20.0, 1e308)

"""What the result document says of ducts that are too narrow for what is to be pulled through them."""

from __future__ import annotations

import math

from mechanics.tables import built_in, inside_diameter
from network.feeder import FeederPlan
from network.narrow import narrow_spans
from network.terms import NoPlan
from tautline.bundles import LaidBundles
from tautline.document import Document
from tautline.result_pull import of_bundle

# Where no table has the duct's type: round figures of what a person reads. [m]
_STEP = {"us": 0.1 * 0.0254, "si": 0.001}
_WIDEST = 0.3


def narrow_document(laid: LaidBundles, planned: FeederPlan, plan: NoPlan) -> list[Document]:
    """Return the spans without a section that are too narrow for their bundle.

    Parameters
    ----------
    laid : LaidBundles
        What was asked, and which bundle goes where.
    planned : FeederPlan
        What came of it.
    plan : NoPlan
        What is in the way.

    Returns
    -------
    list of dict
        ``narrow`` of the schema.
    """
    kinds = {span: laid.kind(planned.route.legs[span].duct) for span, _ in plan.blocked}
    names = {span: _sizes(laid, kind) for span, kind in kinds.items()}
    found = narrow_spans(planned.pulls, kinds, lambda span: tuple(names[span]))
    tags = planned.route.tags
    return [
        {
            "from": tags[one.span],
            "to": tags[one.span + 1],
            "duct": planned.route.legs[one.span].duct.id,
            "bore": one.bore.label,
            "inside_diameter_m": one.bore.inside_diameter,
            "checks": [
                {"name": c.name, "value": c.value, "limit": c.limit, "unit": c.unit, "source": c.source}
                for c in one.checks
            ],
            "smallest": None
            if one.smallest is None
            else {"inside_diameter_m": one.smallest, "bore": names[one.span][one.smallest]},
            **of_bundle(laid.number(planned.route.legs[one.span].duct)),
        }
        for one in found
    ]


def _sizes(laid: LaidBundles, kind: str | None) -> dict[float, str]:
    """Inside diameters of the ducts of a type, with their names; round figures where the tables have none of it."""
    tables = laid.job.rules.tables or built_in()
    rows = [row.key for row in tables.rows("ducts") if kind and row.key[0].casefold() == kind.casefold()]
    if rows:
        sizes = {
            inside_diameter(size, kind or "", tables): f"{size} {name}" for name, size, *_ in reversed(rows)
        }
        return dict(sorted(sizes.items()))
    step = _STEP[laid.job.units]
    return {k * step: "" for k in range(1, math.ceil(_WIDEST / step))}

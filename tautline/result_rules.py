"""What the checks of a result were worked with: the numbers of the tables and of the job, each with its source."""

from __future__ import annotations

from collections.abc import Iterator

from mechanics.bundle import main_cables
from mechanics.cable import Bundle
from mechanics.lubricant import AHEAD, LITRES_PER_SQUARE_METRE
from mechanics.rules import Rules
from mechanics.table_files import Entry
from mechanics.tables import built_in
from tautline.document import Document

_JOB = "job"
# numbers of the table of limits that stand in a formula: the row, and its SI unit
_LIMITS = {
    "jam_allowance": "1",
    "multiplexed_one": "1",
    "multiplexed_overall": "1",
    "lead_sheath": "N/m2",
}


def rules_document(bundle: Bundle, rules: Rules) -> list[Document]:
    """Return the numbers that stand in the formulas of the checks.

    Parameters
    ----------
    bundle : Bundle
        What is pulled.
    rules : Rules
        What it is judged by.

    Returns
    -------
    list of dict
        ``rules`` of the schema: name, value, unit, source.
    """
    return [
        {"name": name, "value": value, "unit": unit, "source": source}
        for name, value, unit, source in _rows(bundle, rules)
    ]


def _rows(bundle: Bundle, rules: Rules) -> Iterator[tuple[str, float, str, str]]:
    tables = rules.tables or built_in()

    def limit(name: str) -> Entry:
        return tables.find("limits", name)

    yield "entry", rules.entry, "N", _JOB
    yield "pusher", rules.pusher, "N", _JOB
    for tag, force in rules.assists.items():
        yield f"assist {tag}", force, "N", _JOB
    yield "slack", rules.slack, "m", _JOB
    yield "restart_factor", rules.restart_factor, "1", "judgement, no source"
    stated, row = rules.low_friction_factor, limit("low_friction")
    yield "low_friction", stated or row.number("value"), "1", _JOB if stated else row.source
    rope = tables.find("friction", "dry rope", "any")
    yield (
        "rope_friction",
        rules.rope_friction or rope.number("dry"),
        "1",
        _JOB if rules.rope_friction else rope.source,
    )
    main = main_cables(bundle)
    if all(c.conductor_area is not None for c in main):
        stresses = [tables.find("conductor_stress", c.material, c.temper, rules.practice) for c in main]
        weakest = min(stresses, key=lambda found: found.number("stress"))
        yield "conductor_stress", weakest.number("stress"), "N/m2", weakest.source
        alike, beyond = limit("shared_by_all"), limit("share_beyond")
        few = sum(c.conductors for c in main) <= alike.number("value")
        yield (
            "conductor_share",
            1.0 if few else beyond.number("value"),
            "1",
            alike.source if few else beyond.source,
        )
    for construction in dict.fromkeys(c.construction for c in bundle.cables):
        row = tables.find("bending", construction)
        yield f"bending {construction}", row.number("placed"), "1", row.source
        yield f"bending_pulling {construction}", row.number("pulling"), "1", row.source
    for name, unit in _LIMITS.items():
        yield name, limit(name).number("value"), unit, limit(name).source
    said = "common practice, no published source"
    yield "lubricant_base", LITRES_PER_SQUARE_METRE, "L/m2", said
    yield "lubricant_ahead", AHEAD, "1", "judgement, no source"
    yield "lubricant_factor", rules.lubricant_factor, "1", _JOB

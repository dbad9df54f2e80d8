"""The report as one page that opens offline: no library, no network, names from files as text only."""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
from collections import defaultdict
from collections.abc import Sequence
from importlib.resources import files
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

from tautline.deliver.atomic import write_text
from tautline.deliver.bundles import cables_in, count_of, narrow_words, other_words, reel_of
from tautline.deliver.digest import (
    bends_of,
    checks_of,
    figures_of,
    place_of,
    summary_of,
    trouble_of,
    warnings_of,
    winch_of,
)
from tautline.deliver.frame import BANDS, ROLES, Document, Pull, band, pulls_of, sections_of, uncovered
from tautline.deliver.present import Units, count, percent, plain, words
from tautline.deliver.reasons import (
    alternative_rows,
    gain_words,
    helps,
    no_remedy,
    price,
    reach_words,
    remedy_words,
    runner_words,
    splice_reasons,
    way_words,
    whole_feeder,
)
from tautline.document import bundle_of

if TYPE_CHECKING:
    from jinja2 import Environment


FEW = 40
"""Pulls up to which every one has its detail in print."""
_SOON = 200
"""Rows of a table, and pulls of a plan in all detail, that are in the page at once; more is added when it has opened."""
_BATCH = 25
"""Details packed together where there are more: few enough to unpack at once, alike enough to pack well."""


def write(document: Document, path: Path) -> None:
    """Write the report of a result document.

    Parameters
    ----------
    document : mapping
        A result document, valid against the schema.
    path : Path
        The file, replaced whole.

    Raises
    ------
    OutputError
        The file could not be written.
    """
    write_text(path, page(document))


def page(document: Document) -> str:
    """Return the report as the text of one HTML page.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    str
        The page, with its style, script and pictures in it.
    """
    from markupsafe import Markup

    from tautline.deliver.feeder_picture import feeder_picture
    from tautline.deliver.marks import (
        UNCOVERED,
        band_sample,
        finding_mark,
        hot_mark,
        uncovered_line,
        vault_mark,
    )
    from tautline.deliver.plan_picture import PlanPicture

    units, pulls = Units.of(document), pulls_of(document)
    environment = _environment(document, units)
    plan, plan_rest = PlanPicture(document).parted(_SOON)
    wide = min(12 * len(pulls), 4000)  # so that the pulls of a long feeder can still be told apart
    script = _asset("report.js")
    litres: defaultdict[str, float] = defaultdict(float)
    for p in pulls:
        for at in p.data["lubricant"]["at"]:
            litres[at["vault"]] += at["litres"]
    marks = [(vault_mark([role]), text) for role, text in ROLES.items()]
    marks += [
        (hot_mark(), "worst sidewall pressure of a pull"),
        (finding_mark(), "warning or error about the input"),
        *([(uncovered_line("M -12 0 H 12"), UNCOVERED)] if uncovered(document) else []),
    ]
    return environment.get_template("report.html").render(
        document=document,
        verdict=document["verdict"].replace("-", " ").upper(),
        units=units,
        pulls=pulls,
        sections=sections_of(document),
        first=_first(pulls),
        few=FEW,
        summary=summary_of(document, pulls),
        key=figures_of(document, units, pulls),
        trouble=trouble_of(pulls, units),
        doubts=warnings_of(document, pulls),
        no_plan=document.get("no_plan"),
        alternatives=alternative_rows(document),
        plan=plan,
        plan_rest=Markup(_data(plan_rest)),
        feeder_chart=feeder_picture(document, float(max(1000, wide))),
        chart_width=max(760, wide),
        bands=[(band_sample(k), b.words) for k, b in enumerate(BANDS)],
        marks=marks,
        lubricant=[(p, at) for p in pulls for at in p.data["lubricant"]["at"]],
        lubricant_at=litres,
        lubricant_total=sum(litres.values()),
        grades=" and ".join(sorted({plain(p.data["lubricant"]["grade"]) for p in pulls})),
        pulls_of_section={s: [p.number for p in own] for s, own in groupby(pulls, key=lambda p: p.section)},
        total=len(pulls),
        details=Markup(_data(_details(environment, document, pulls, units))),
        style=Markup(_asset("report.css")),
        script=Markup(script),
        script_hash=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
        band=band,
    )


def _environment(document: Document, units: Units) -> Environment:
    from jinja2 import DictLoader, Environment, StrictUndefined
    from markupsafe import Markup

    worst = max((p.data["utilisation"] for p in pulls_of(document)), default=None)
    sources = {name: _asset(name) for name in ("report.html", "pull.html")}
    environment = Environment(
        loader=DictLoader(sources),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(
        units=units,
        soon=_SOON,
        several=bool(document.get("other_bundles")),
        cables=lambda part: cables_in(bundle_of(document, part), units),
        cable_count=lambda part: count_of(document, part),
        longest=lambda section: reel_of(document, section)["longest_m"],
        bundles=[document["bundle"], *document.get("other_bundles", ())],
        other_words=other_words(document, units),
        narrow=narrow_words(document, units),
        numbered=lambda items: list(enumerate(items, 1)),
        no_remedy=lambda stretch: no_remedy(stretch, document),
        remedy=lambda remedy: remedy_words(remedy, document),
        helps=lambda stretch: helps(stretch, document),
        whole_feeder=whole_feeder,
        reasons=splice_reasons(document),
        runner=runner_words,
        price=price,
        reach=lambda: reach_words(document),
        way=lambda pull: way_words(pull, document, worst),
        gains=lambda pull: gain_words(pull, document),
        data=lambda items, row: Markup(_data([str(row(item)) for item in items])),
    )
    environment.filters.update(
        plain=plain,
        percent=percent,
        words=words,
        count=count,
        roles=lambda roles: ", ".join(ROLES.get(r, plain(r)) for r in roles),
        place=lambda finding: place_of(finding, document),
    )
    return environment


def _asset(name: str) -> str:
    return files("tautline.deliver").joinpath("assets", name).read_text(encoding="utf-8")


def _data(value: object) -> str:
    """JSON that can stand inside a script element whatever the text in it."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    # no end tag and no comment may begin in it; the rest of HTML's rules for scripts hang on these two
    return text.replace("</", "<\\/").replace("<!--", "\\u003c!--")


def _first(pulls: Sequence[Pull]) -> int:
    """The pull that is shown first: the one nearest to its limits."""
    return max(
        pulls, key=lambda p: (p.data["verdict"] == "fail", p.data["utilisation"]), default=Pull(0, 0, {})
    ).number


def _details(
    environment: Environment, document: Document, pulls: Sequence[Pull], units: Units
) -> dict[str, object]:
    """The detail of every pull; packed where they are many, since a page shows one at a time."""
    made = [_detail(environment, document, p, units) for p in pulls]
    if len(pulls) <= FEW:
        return {"packed": 0, "pulls": made}
    batches = (json.dumps(made[k : k + _BATCH], ensure_ascii=False) for k in range(0, len(made), _BATCH))
    packed = (base64.b64encode(gzip.compress(text.encode(), 6, mtime=0)).decode() for text in batches)
    return {"packed": _BATCH, "pulls": list(packed)}


def _detail(environment: Environment, document: Document, p: Pull, units: Units) -> str:
    from tautline.deliver.pull_picture import pull_picture

    return environment.get_template("pull.html").render(
        p=p,
        d=p.data,
        cables=cables_in(bundle_of(document, p.data), units),
        chart=pull_picture(p, units),
        winch=winch_of(p, units),
        governs=p.governing(units),
        hot=p.place(p.data["max_sidewall_station_m"], units),
        checks=checks_of(p, units),
        bends=bends_of(p, units),
    )

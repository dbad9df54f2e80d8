"""How a GIS shows the layers on opening: pulls by class of utilisation, vaults by their work, findings by severity."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from xml.sax.saxutils import quoteattr

from tautline.deliver.frame import BANDS, ROLES

_DASH = ("", "5;1", "2.5;1", "1.2;0.8")
"""Dashes of the classes of utilisation [mm]."""
_WIDTH = ("0.6", "0.9", "1.2", "1.6")
_INK = "#1b1f24"


def styles() -> Mapping[str, str]:
    """Return the default style of each layer, in the XML that QGIS keeps in a GeoPackage.

    Returns
    -------
    mapping of str to str
        Layer name to style.
    """
    return {
        "sections": _single(_line("#c9d6e2", "3.2")),
        "pulls": _categorised(
            "band",
            [(b.words, _line(b.colour, _WIDTH[k], _DASH[k])) for k, b in enumerate(BANDS)],
            "concat(pull, ': ', coalesce(round(utilisation * 100) || ' %', '-'))",
        ),
        "segments": _single(_line("#7d868e", "0.3")),
        "vaults": _rules(
            [
                *((ROLES[role], f"roles LIKE '%{role}%'", _VAULTS[role]) for role in ROLES),
                ("not used", "roles IS NULL OR roles = ''", _point("circle", "2", "#ffffff")),
            ],
            "tag",
        ),
        "findings": _categorised(
            "severity",
            [
                ("error", _point("cross2", "4", "#a31515")),
                ("warning", _point("triangle", "3.5", "#e69f00")),
                ("info", _point("star", "2", "#9aa3ab")),
            ],
            None,
        ),
    }


def _options(values: Mapping[str, str]) -> str:
    inner = "".join(
        f'<Option name={quoteattr(k)} value={quoteattr(v)} type="QString"/>' for k, v in values.items()
    )
    return f'<Option type="Map">{inner}</Option>'


def _rgba(colour: str) -> str:
    return ",".join(str(int(colour[k : k + 2], 16)) for k in (1, 3, 5)) + ",255"


def _line(colour: str, width: str, dash: str = "") -> tuple[str, str]:
    values = {"line_color": _rgba(colour), "line_width": width, "line_width_unit": "MM", "capstyle": "flat"}
    if dash:
        values |= {"use_custom_dash": "1", "customdash": dash, "customdash_unit": "MM"}
    return "line", f'<layer class="SimpleLine" enabled="1">{_options(values)}</layer>'


def _point(name: str, size: str, fill: str) -> tuple[str, str]:
    values = {
        "name": name,
        "size": size,
        "size_unit": "MM",
        "color": _rgba(fill),
        "outline_color": _rgba(_INK),
        "outline_width": "0.3",
    }
    return "marker", f'<layer class="SimpleMarker" enabled="1">{_options(values)}</layer>'


_VAULTS = {
    "end": _point("diamond", "5.5", "#ffffff"),
    "splice": _point("square", "4.2", "#ffffff"),
    "feed": _point("circle", "3", "#ffffff"),
    "pull": _point("triangle", "2.4", _INK),
    "relube": _point("cross", "2.4", "#0072b2"),
    "pass": _point("circle", "1.4", "#ffffff"),
    "proposed": _point("cross", "7", _INK),
}


def _symbols(symbols: Sequence[tuple[str, str]]) -> str:
    inner = "".join(
        f'<symbol name="{k}" type="{kind}" alpha="1" clip_to_extent="1">{layer}</symbol>'
        for k, (kind, layer) in enumerate(symbols)
    )
    return f"<symbols>{inner}</symbols>"


def _single(symbol: tuple[str, str]) -> str:
    return _document(
        f'<renderer-v2 type="singleSymbol" enableorderby="0">{_symbols([symbol])}</renderer-v2>', None
    )


def _categorised(field: str, classes: Sequence[tuple[str, tuple[str, str]]], label: str | None) -> str:
    inner = "".join(
        f'<category value={quoteattr(words)} label={quoteattr(words)} symbol="{k}" render="true"/>'
        for k, (words, _) in enumerate(classes)
    )
    return _document(
        f'<renderer-v2 type="categorizedSymbol" attr={quoteattr(field)} enableorderby="0">'
        f"<categories>{inner}</categories>{_symbols([s for _, s in classes])}</renderer-v2>",
        label,
    )


def _rules(rules: Sequence[tuple[str, str, tuple[str, str]]], label: str) -> str:
    inner = "".join(
        f'<rule key="{{{k}}}" filter={quoteattr(condition)} label={quoteattr(words)} symbol="{k}"/>'
        for k, (words, condition, _) in enumerate(rules)
    )
    return _document(
        f'<renderer-v2 type="RuleRenderer" symbollevels="1"><rules key="{{all}}">{inner}</rules>'
        f"{_symbols([s for _, _, s in rules])}</renderer-v2>",
        label,
    )


def _document(renderer: str, label: str | None) -> str:
    labels = ""
    if label:
        # around a point in order of liking; above or below a line, where it is long enough
        place = 'placement="6"' if 'type="marker"' in renderer else 'placement="2" placementFlags="10"'
        expression = "0" if label.isidentifier() else "1"
        labels = (
            '<labeling type="simple"><settings calloutType="simple">'
            f'<text-style fieldName={quoteattr(label)} isExpression="{expression}" fontSize="8" '
            'fontFamily="Sans" textColor="27,31,36,255"><text-buffer bufferDraw="1" bufferSize="0.8" '
            'bufferColor="255,255,255,255"/></text-style>'
            f'<placement {place} dist="1.5" distUnits="MM"/>'
            '<rendering scaleVisibility="0" obstacle="1"/></settings></labeling>'
        )
    enabled = "1" if label else "0"
    return (
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>"
        f'<qgis version="3.22.0" styleCategories="Symbology|Labeling" labelsEnabled="{enabled}">'
        f"{renderer}{labels}</qgis>"
    )

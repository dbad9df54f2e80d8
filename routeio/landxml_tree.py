"""LandXML as a tree: parsed without document types, entities or network, names without namespaces, numbers with units."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from lxml import etree

from mechanics.errors import FloatArray
from routeio.findings import InputRefusedError, Where
from routeio.ground import UNITS

#: Elements of any LandXML file, and how deep they are nested, are far fewer. [-]
_MOST_ELEMENTS, _DEEPEST = 2_000_000, 60
#: ``linearUnit`` and ``elevationUnit`` of the schema, by our names.
_LINEAR = {
    "millimeter": "mm", "centimeter": "cm", "meter": "m", "kilometer": "km", "foot": "ft", "feet": "ft",
    "ussurveyfoot": "us_survey_foot", "inch": "in", "mile": "mi", "miles": "mi",
}  # fmt: skip
#: What is counted as an entity: everything that lies somewhere or says how something lies.
ENTITIES = frozenset(
    {
        "Line", "Curve", "Spiral", "IrregularLine", "Chain", "ProfAlign", "ProfSurf", "Struct", "Pipe", "CgPoint",
        "Surface", "Parcel", "PlanFeature", "CrossSect", "StaEquation", "GradeModel", "Roadway",
    }
)  # fmt: skip


def name_of(element: etree._Element) -> str:
    """Return an element's name without its namespace: national variants have namespaces of their own.

    Parameters
    ----------
    element : lxml element
        Any; empty for comments and the like.

    Returns
    -------
    str
        Such as ``Alignment``.
    """
    tag = element.tag
    return tag.rsplit("}", 1)[-1] if isinstance(tag, str) else ""


def named(element: etree._Element, *names: str) -> Iterator[etree._Element]:
    """Give the children of an element that have one of the names.

    Parameters
    ----------
    element : lxml element
        The parent.
    *names : str
        Without namespace.

    Yields
    ------
    lxml element
        In the order of the file.
    """
    for child in element:
        if name_of(child) in names:
            yield child


def opened(path: Path) -> etree._Element:
    """Return the root of a file.

    Parameters
    ----------
    path : Path
        LandXML.

    Returns
    -------
    lxml element
        ``LandXML``.

    Raises
    ------
    InputRefusedError
        ``damaged-xml``: cut off, not well-formed, a document type in it, too deep; ``wrong-format``.
    """
    where = Where(file=path.name)
    remedy = "export it again from the program that made it"
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, dtd_validation=False, huge_tree=False,
        remove_comments=True, remove_pis=True,
    )  # fmt: skip
    data = path.read_bytes()
    # looked for before parsing: entities inside it could name other files or grow without end
    if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        raise InputRefusedError(
            "damaged-xml", "it has a document type (DOCTYPE), which no LandXML file needs and which can make a reader "
            "open other files", where, "delete the DOCTYPE",
        )  # fmt: skip
    try:
        root = etree.fromstring(data, parser)
    except (etree.XMLSyntaxError, ValueError, LookupError) as error:
        raise InputRefusedError(
            "damaged-xml",
            f"the file is cut off or not well-formed: {' '.join(str(error).split())[:200]}",
            where,
            remedy,
        ) from error
    if root.getroottree().docinfo.doctype:
        raise InputRefusedError(
            "damaged-xml", "it has a document type (DOCTYPE)", where, "delete the DOCTYPE"
        )
    if name_of(root) != "LandXML":
        raise InputRefusedError(
            "wrong-format",
            f"its root element is {name_of(root)!r} and not LandXML",
            where,
            "export it as LandXML 1.2",
        )
    for number, element in enumerate(root.iter()):
        if number > _MOST_ELEMENTS or sum(1 for _ in _up_to(element)) > _DEEPEST:
            raise InputRefusedError(
                "damaged-xml", f"it has more than {_MOST_ELEMENTS} elements, or they are nested deeper than {_DEEPEST}",
                where, remedy,
            )  # fmt: skip
    return root


def _up_to(element: etree._Element) -> Iterator[etree._Element]:
    for number, above in enumerate(element.iterancestors()):
        yield above
        if number > _DEEPEST:
            return


@dataclass(frozen=True)
class Measures:
    """Units of a file.

    Parameters
    ----------
    linear : str or None
        A key of :data:`routeio.ground.UNITS`; None where the file does not say.
    elevation : str or None
        Of elevations, where the file says.
    direction : str
        ``decimal degrees``, ``grads``, ``radians`` or ``decimal dd.mm.ss``.
    """

    linear: str | None
    elevation: str | None
    direction: str


def measures(root: etree._Element, where: Where) -> Measures:
    """Return the units a file states.

    Parameters
    ----------
    root : lxml element
        ``LandXML``.
    where : Where
        For refusals.

    Returns
    -------
    Measures
        Without a linear unit where the file has no ``Units``.

    Raises
    ------
    InputRefusedError
        ``unknown-unit``.
    """
    for units in named(root, "Units"):
        for system in named(units, "Metric", "Imperial"):
            linear = _unit(system.get("linearUnit"), "linearUnit", where)
            elevation = _unit(system.get("elevationUnit"), "elevationUnit", where)
            return Measures(linear, elevation, system.get("directionUnit") or "radians")
    return Measures(None, None, "radians")


def _unit(text: str | None, key: str, where: Where) -> str | None:
    if not text:
        return None
    unit = _LINEAR.get(text.strip().lower())
    if unit is None or unit not in UNITS:
        raise InputRefusedError(
            "unknown-unit", f"{key} {text[:40]!r} is no unit of length that LandXML knows", where,
            "state units in the job, or correct it: meter, foot, USSurveyFoot ...",
        )  # fmt: skip
    return unit


def angle(text: str, unit: str) -> float:
    """Return an angle as a file writes it.

    Parameters
    ----------
    text : str
        A number.
    unit : str
        ``directionUnit`` or ``angularUnit``.

    Returns
    -------
    float
        NaN where it is none. [rad]

    Examples
    --------
    >>> round(math.degrees(angle("45.3015", "decimal dd.mm.ss")), 6)
    45.504167
    >>> round(math.degrees(angle("50", "grads")), 9)
    45.0
    """
    try:
        value = float(text)
    except ValueError:
        return math.nan
    plain = unit.strip().lower()
    if plain in ("grads", "grad", "gon"):
        return value * math.pi / 200.0
    if plain == "radians":
        return value
    if plain == "decimal dd.mm.ss":
        sign, value = math.copysign(1.0, value), abs(value)
        # 45.3015 is 45 degrees 30 minutes 15 seconds; rounded first, for the decimals of a float
        whole = round(value * 1e4, 6)
        degrees, rest = divmod(whole, 1e4)
        minutes, seconds = divmod(rest, 100.0)
        return sign * math.radians(degrees + minutes / 60.0 + seconds / 3600.0)
    return math.radians(value)


def numbers(text: str | None) -> FloatArray:
    """Return the numbers of a text, empty where it holds anything else.

    Parameters
    ----------
    text : str or None
        Parted by blanks.

    Returns
    -------
    ndarray, shape (n,)
        As written.
    """
    try:
        return np.array([float(word) for word in (text or "").split()], dtype=np.float64)
    except ValueError:
        return np.zeros(0)


def east_north(northing_first: FloatArray) -> FloatArray:
    """Return points of a file as x, y, z: LandXML writes northing before easting, and this is where they change places.

    Parameters
    ----------
    northing_first : ndarray, shape (..., 2 or 3)
        As written.

    Returns
    -------
    ndarray, shape (..., 3)
        Easting, northing, elevation (NaN where there is none).
    """
    given = np.asarray(northing_first, dtype=np.float64)
    z = given[..., 2] if given.shape[-1] > 2 else np.full(given.shape[:-1], np.nan)
    return np.stack((given[..., 1], given[..., 0], z), axis=-1)

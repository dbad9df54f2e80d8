"""First bytes: what a file really is, whatever its name says, before any library is let near it."""

from __future__ import annotations

import codecs
import re
import zipfile
from pathlib import Path

from routeio.findings import InputRefusedError, Where

_ZIP = "a zip archive (or a spreadsheet or document made as one)"

#: What begins so is called so. Longer beginnings before shorter ones that they contain.
_BEGINNINGS: tuple[tuple[bytes, str], ...] = (
    (b"AutoCAD Binary DXF\r\n\x1a\x00", "binary DXF"),
    (b"SQLite format 3\x00", "SQLite"),
    (b"\x00\x00\x27\x0a", "shapefile"),
    (b"fgb\x03", "FlatGeobuf"),
    (b"PAR1", "Parquet"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", _ZIP),
    (b"PK\x05\x06", "an empty zip archive"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"BZh", "a bzip2 archive"),
    (b"\xfd7zXZ\x00", "an xz archive"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"Rar!", "a rar archive"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an old office document or DGN v8 drawing"),
    (b"\x08\x09\xfe\x02", "a DGN drawing"),
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"II*\x00", "a TIFF picture"),
    (b"MM\x00*", "a TIFF picture"),
    (b"(DWF V", "a DWF drawing"),
    (b"{\\rtf", "a rich text document"),
    (b"MZ", "a program"),
    (b"\x7fELF", "a program"),
    (codecs.BOM_UTF32_LE, "text in UTF-32 with a byte-order mark"),
    (codecs.BOM_UTF16_LE, "text in UTF-16 with a byte-order mark"),
    (codecs.BOM_UTF16_BE, "text in UTF-16 with a byte-order mark"),
)

_WORKBOOK = "a workbook (XLSX)"
_LANDXML = re.compile(rb"<(?:[\w.-]+:)?LandXML[\s/>]")
_ROOT = re.compile(rb"<(?:[\w.-]+:)?([A-Za-z_][\w.-]*)")

#: By the file name's ending: the reader, and what the bytes may be.
_KNOWN: dict[str, tuple[str, tuple[str, ...], str]] = {
    ".dxf": ("dxf", ("text DXF", "binary DXF"), "DXF"),
    ".gpkg": ("gis", ("SQLite",), "GPKG"),
    ".shp": ("gis", ("shapefile",), "ESRI Shapefile"),
    ".geojson": ("gis", ("JSON",), "GeoJSON"),
    ".json": ("gis", ("JSON",), "GeoJSON"),
    ".fgb": ("gis", ("FlatGeobuf",), "FlatGeobuf"),
    ".parquet": ("gis", ("Parquet",), "Parquet"),
    ".xml": ("landxml", ("LandXML",), "LandXML"),
    ".landxml": ("landxml", ("LandXML",), "LandXML"),
    ".csv": ("table", ("plain text",), "CSV"),
    ".tsv": ("table", ("plain text",), "CSV"),
    # a zip archive without its list of contents is a workbook cut short, which the reader says
    ".xlsx": ("table", (_WORKBOOK, _ZIP), "XLSX"),
}

_REMEDIES = {
    "a DWG drawing": "save the drawing as DXF in the program that made it",
    _ZIP: "unpack it and name the file inside",
    "text in UTF-16 with a byte-order mark": "save it again without changing its encoding, as plain text or UTF-8",
    "text in UTF-32 with a byte-order mark": "save it again without changing its encoding, as plain text or UTF-8",
}


def reader_for(path: Path) -> tuple[str, str]:
    """Return which reader takes a file, having looked at the file's first bytes.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    reader : str
        ``dxf``, ``gis``, ``landxml`` or ``table``.
    driver : str
        The format, by the name the reader's library knows it by.

    Raises
    ------
    InputRefusedError
        No such file, empty, an ending that no reader takes, or contents that are something else than the name says.
    """
    where = Where(file=path.name)
    if not path.is_file():
        kind = "is a folder" if path.is_dir() else "does not exist"
        raise InputRefusedError("no-file", f"{path} {kind}", where, "name a drawing or a layer file")
    known = _KNOWN.get(path.suffix.lower())
    real = contents(path)
    if real == "an empty file":
        raise InputRefusedError(
            "empty-file", "the file is empty", where, "export it again; the last save may have failed"
        )
    if known is None:
        raise InputRefusedError(
            "unknown-format",
            f"no reader takes files ending in {path.suffix or 'nothing'!r}; by its first bytes it is {real}",
            where,
            f"use one of {', '.join(_KNOWN)}",
        )
    reader, allowed, driver = known
    if real not in allowed:
        raise InputRefusedError(
            "wrong-format",
            f"named {path.suffix} but by its first bytes it is {real}",
            where,
            _REMEDIES.get(real, f"export it as {driver}, or give it the ending of what it is"),
        )
    return reader, driver


def contents(path: Path) -> str:
    """Say what a file is by its first bytes.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str
        A format's name or, for what no reader takes, words with an article.

    Raises
    ------
    InputRefusedError
        The file cannot be opened.
    """
    try:
        with path.open("rb") as stream:
            head = stream.read(4096)
    except OSError as error:
        raise InputRefusedError(
            "no-file",
            f"the file cannot be opened: {error.strerror or error}",
            Where(file=path.name),
            "allow this user to read it, or copy it to a folder of your own",
        ) from error
    if not head:
        return "an empty file"
    for beginning, name in _BEGINNINGS:
        if head.startswith(beginning):
            return _WORKBOOK if name == _ZIP and _is_workbook(path) else name
    if head[:2] == b"AC" and head[2:6].isdigit():
        return "a DWG drawing"
    text = head.removeprefix(codecs.BOM_UTF8).lstrip()
    if not text:
        return "blank"
    if b"\x00" in head[:512]:
        return "binary data of an unknown kind"
    if text.startswith((b"{", b"[")):
        return "JSON"
    if text.startswith(b"<"):
        lowered = text[:2048].lower()
        if b"<ogrvrt" in lowered:
            return "a virtual layer (XML that makes the reader open other files)"
        if b"<html" in lowered or b"<!doctype html" in lowered:
            return "a web page"
        if _LANDXML.search(text):
            return "LandXML"
        root = _ROOT.search(text)
        return (
            f"XML of another kind (its root is {root[1].decode('ascii', 'replace')[:40]})" if root else "XML"
        )
    return "text DXF" if _begins_like_dxf(text) else "plain text"


def _is_workbook(path: Path) -> bool:
    try:
        with zipfile.ZipFile(path) as archive:
            return any(name.startswith("xl/") for name in archive.namelist())
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        return False


def _begins_like_dxf(text: bytes) -> bool:
    """DXF text alternates group codes and values; comments (999) may come before the first section."""
    lines = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")
    return lines[0].strip() in {b"0", b"999"}

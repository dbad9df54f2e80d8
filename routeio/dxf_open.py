"""Opening a drawing: encoding, units in the header, damage, and what is said about each."""

from __future__ import annotations

import codecs
import io
import mmap
import re
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import ezdxf
from ezdxf import recover
from ezdxf.lldxf.const import DXFError
from ezdxf.lldxf.validator import is_dxf_file

from routeio.dxf_lift import Lifted, Rest, lifted
from routeio.findings import Finding, InputRefusedError, Where
from routeio.options import ReadOptions

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.entities import DXFEntity

#: What the parser raises on damaged files, as met with cut and mutated ones.
PARSER_ERRORS = (
    DXFError,
    OSError,
    ValueError,
    KeyError,
    IndexError,
    TypeError,
    AttributeError,
    StopIteration,
    ArithmeticError,
    AssertionError,
    RecursionError,
    struct.error,
)
#: Drawings of these versions hold text in a code page; later ones in UTF-8.
_CODE_PAGE_VERSIONS = {b"AC1009", b"AC1012", b"AC1014", b"AC1015", b"AC1018"}
_ASCII = bytes(range(32, 127))
_TEXT_EOF = re.compile(rb"(?:^|[\r\n])[ \t]*0[ \t]*\r?[\r\n][ \t]*EOF\b")


@dataclass(frozen=True, eq=False)
class Opened:
    """A drawing and what its header really says.

    Parameters
    ----------
    drawing : ezdxf.document.Drawing
        As loaded.
    units : int or None
        $INSUNITS, None where the header has none (the library would say metres).
    measurement : int or None
        $MEASUREMENT, likewise.
    findings : tuple of Finding
        About the file itself.
    lifted : Lifted or None, optional
        Light polylines of model space that are not in the drawing.
    heads : tuple of DXFEntity, optional
        The polylines in the drawing that have their heads.
    """

    drawing: Drawing
    units: int | None
    measurement: int | None
    findings: tuple[Finding, ...]
    lifted: Lifted | None = None
    heads: tuple[DXFEntity, ...] = ()


@dataclass(frozen=True)
class _Bytes:
    """What a look at the raw bytes shows."""

    binary: bool
    marked: bool
    ended: bool
    version: bytes
    code_page: bool
    names: frozenset[str]
    text: str  # "ascii", "utf-8" or "other"


def open_drawing(path: Path, options: ReadOptions, *, lift: bool = False) -> Opened:
    """Load a drawing.

    Parameters
    ----------
    path : Path
        A file whose first bytes are those of a DXF file.
    options : ReadOptions
        ``encoding`` and ``recover``.
    lift : bool, optional
        Keep plain light polylines out of the drawing, as arrays, where that can be done; the drawing holds the first of
        every run.

    Returns
    -------
    Opened
        With findings for a missing end mark, recovery, and text in an encoding other than stated.

    Raises
    ------
    InputRefusedError
        ``damaged-drawing`` or ``unknown-encoding``.
    """
    where = Where(file=path.name)
    seen = _look(path)
    findings: list[Finding] = []
    encoding = _encoding(seen, options, where, findings)
    if not seen.ended:
        findings.append(
            Finding(
                "file-cut",
                "error",
                "the drawing has no end-of-file mark: it was cut off, and what was at its end is not here",
                where,
                "export it again, or copy it again from where it came",
            )
        )
    without: tuple[Drawing, Lifted, tuple[DXFEntity, ...]] | None = None
    polylines: Lifted | None = None
    heads: tuple[DXFEntity, ...] = ()
    try:
        if lift and not (options.recover or seen.binary or seen.marked):
            without = _without_lifted(path, encoding)
        if without is not None:
            drawing, polylines, heads = without
        elif options.recover and not seen.binary:
            drawing, auditor = recover.readfile(path)
            findings += _repairs(auditor, where)
        elif seen.marked:
            with path.open("rb") as stream:
                stream.seek(len(codecs.BOM_UTF8))
                text = io.TextIOWrapper(stream, encoding="utf-8", errors="surrogateescape")
                drawing = ezdxf.filemanagement.read(text)
        else:
            drawing = ezdxf.filemanagement.readfile(path, encoding)
        _check_model(drawing)
    except PARSER_ERRORS as error:
        reason = " ".join(str(error).split())[:200] or type(error).__name__
        raise InputRefusedError(
            "damaged-drawing",
            f"the drawing cannot be read: {reason}",
            where,
            "open it in the program that made it, audit and save it again"
            + _about_recovery(seen.binary, options.recover),
            tuple(findings),
        ) from error
    header = drawing.header
    return Opened(
        drawing,
        _whole(header.get("$INSUNITS", None)) if "$INSUNITS" in seen.names else None,
        _whole(header.get("$MEASUREMENT", None)) if "$MEASUREMENT" in seen.names else None,
        tuple(findings),
        polylines,
        heads,
    )


def _without_lifted(path: Path, encoding: str | None) -> tuple[Drawing, Lifted, tuple[DXFEntity, ...]] | None:
    """Load a drawing without the polylines that can be lifted from its text; None where it is to be loaded whole."""
    if not is_dxf_file(str(path)):
        return None
    try:
        encoding = encoding or ezdxf.filemanagement.dxf_file_info(path).encoding
        if _ASCII.decode(encoding, "replace") != _ASCII.decode("ascii"):
            return None
        with path.open("rb") as stream, mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ) as text:
            found = lifted(text)
            if found is None:
                return None
            polylines, kept = found
            rest = io.BufferedReader(Rest(text, kept), 1 << 16)
            with io.TextIOWrapper(rest, encoding, "surrogateescape") as lines:
                drawing = ezdxf.filemanagement.read(lines)
        _check_model(drawing)
    except PARSER_ERRORS:
        return None  # loading all of it tells the line
    heads = polylines.heads_in(drawing)
    if heads is None or (drawing.loaded_dxfversion or "") < "AC1015":
        return None
    return drawing, polylines, heads


def _check_model(drawing: Drawing) -> None:
    if drawing.modelspace().block_record_name.lower() != "*model_space":
        raise DXFError("what it calls its model space is another block")


def _about_recovery(binary: bool, asked_for: bool) -> str:
    if binary:
        return "; recovery reads drawings saved as text only"
    return "" if asked_for else "; or ask for recovery (recover = true), which may lose parts of it"


def _whole(value: object) -> int | None:
    return int(value) if isinstance(value, int | float) and value == value and abs(value) < 1e6 else None


def _look(path: Path) -> _Bytes:
    with path.open("rb") as stream, mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ) as data:
        binary = data[:22] == b"AutoCAD Binary DXF\r\n\x1a\x00"
        tail = data[max(0, len(data) - 1024) :]
        header_end = data.find(b"ENDSEC")
        header = data[: header_end if header_end >= 0 else min(len(data), 1 << 16)]
        if b"HEADER" not in header:
            header = b""
        version = re.search(rb"\$ACADVER[\x00\s]*1?[\x00\s]*(AC10\d\d)", header)
        text = "ascii"
        if not binary:
            text = _text_kind(data)
        return _Bytes(
            binary,
            data[:3] == codecs.BOM_UTF8,
            bool(b"EOF\x00" in tail if binary else _TEXT_EOF.search(tail)),
            version[1] if version else b"AC1009",
            b"$DWGCODEPAGE" in header,
            frozenset(n for n in ("$INSUNITS", "$MEASUREMENT") if n.encode() in header),
            text,
        )


def _text_kind(data: mmap.mmap) -> str:
    """Say whether all bytes are ASCII, or valid UTF-8, or neither."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    kind = "ascii"
    data.seek(0)
    while chunk := data.read(1 << 20):
        if kind == "ascii" and chunk.isascii():
            continue
        kind = "utf-8"
        try:
            decoder.decode(chunk)
        except UnicodeDecodeError:
            return "other"
    return kind


def _encoding(seen: _Bytes, options: ReadOptions, where: Where, findings: list[Finding]) -> str | None:
    """Choose the encoding to read with; None leaves it to the header."""
    if options.encoding:
        try:
            codecs.lookup(options.encoding)
        except LookupError:
            raise InputRefusedError(
                "unknown-encoding",
                f"encoding {options.encoding!r} is not known",
                where,
                "use a name such as utf-8, cp1252 or cp932",
            ) from None
        return options.encoding
    if seen.binary or seen.text == "ascii":
        return None
    if seen.marked:
        findings.append(
            Finding("byte-order-mark", "info", "the drawing begins with a byte-order mark", where)
        )
        return None
    if seen.version not in _CODE_PAGE_VERSIONS:
        return None
    if seen.text == "utf-8":
        findings.append(
            Finding(
                "encoding-differs",
                "info",
                f"a drawing of version {seen.version.decode()} holds text in its code page, but the text here is "
                "UTF-8 and is read as such",
                where,
                "state encoding if names look wrong",
            )
        )
        return "utf-8"
    if not seen.code_page:
        findings.append(
            Finding(
                "encoding-assumed",
                "warning",
                "the drawing holds letters beyond ASCII and does not say in which code page; cp1252 is assumed",
                where,
                "state encoding if names look wrong",
            )
        )
    return None


def _repairs(auditor: object, where: Where) -> list[Finding]:
    """Say what recovery and audit changed, one finding a kind."""
    counts: dict[str, int] = {}
    for entry in [*getattr(auditor, "errors", ()), *getattr(auditor, "fixes", ())]:
        name = getattr(entry.code, "name", str(entry.code)).lower().replace("_", " ")
        counts[name] = counts.get(name, 0) + 1
    said = "; ".join(f"{count} of {name}" for name, count in sorted(counts.items())) or "nothing to repair"
    return [
        Finding(
            "recovered",
            "error" if counts else "warning",
            f"the drawing was read by recovery, which may lose entities without saying so: {said}",
            where,
            "audit the drawing in the program that made it and read that copy without recovery",
        )
    ]


def refuse_garbled(names: list[str], what: str, where: Where) -> None:
    """Refuse names that hold bytes which the drawing's encoding does not know.

    Parameters
    ----------
    names : list of str
        As loaded.
    what : str
        What they are names of.
    where : Where
        For the refusal.

    Raises
    ------
    InputRefusedError
        ``unknown-encoding``.
    """
    for name in names:
        if any("\udc80" <= letter <= "\udcff" for letter in name):
            shown = name.encode("utf-8", "backslashreplace").decode("ascii", "replace")
            raise InputRefusedError(
                "unknown-encoding",
                f"{what} {shown!r} holds bytes that the drawing's encoding does not know",
                where,
                "state encoding, such as cp1252, utf-8 or cp932",
            )

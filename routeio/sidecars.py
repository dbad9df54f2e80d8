"""Sidecars: a shapefile is several files, and says how long each of them is."""

from __future__ import annotations

import struct
from pathlib import Path

from routeio.findings import Finding, InputRefusedError, Where


def sidecar(path: Path, ending: str) -> Path | None:
    """Return the file beside a shapefile with another ending, whatever its case.

    Parameters
    ----------
    path : Path
        The .shp.
    ending : str
        Such as ``.dbf``.

    Returns
    -------
    Path or None
        None where there is none.
    """
    for spelling in (ending, ending.upper()):
        beside = path.with_suffix(spelling)
        if beside.is_file():
            return beside
    return None


def refuse_without_sidecars(path: Path) -> None:
    """Refuse a shapefile that lacks its index.

    Parameters
    ----------
    path : Path
        Any layer file.

    Raises
    ------
    InputRefusedError
        ``sidecar-missing``.
    """
    if path.suffix.lower() == ".shp" and sidecar(path, ".shx") is None:
        raise InputRefusedError(
            "sidecar-missing",
            f"{path.with_suffix('.shx').name} is not beside the shapefile, and without it no feature is found",
            Where(file=path.name),
            "copy all files of the shapefile: .shp, .shx, .dbf, .prj and .cpg",
        )


def sidecar_findings(path: Path) -> list[Finding]:
    """Say which of a shapefile's other files are missing.

    Parameters
    ----------
    path : Path
        Any layer file.

    Returns
    -------
    list of Finding
        Empty for other formats.
    """
    if path.suffix.lower() != ".shp":
        return []
    without = {
        ".dbf": ("warning", "so no feature has attributes: no tags, sizes or inverts"),
        ".prj": ("warning", "so the layer does not say its coordinate reference system"),
        ".cpg": ("info", "so the encoding of its texts is taken from the table itself or assumed"),
    }
    return [
        Finding(
            "sidecar-missing",
            severity,  # type: ignore[arg-type]
            f"{path.with_suffix(ending).name} is not beside the shapefile, {loss}",
            Where(file=path.name),
            "copy all files of the shapefile: .shp, .shx, .dbf, .prj and .cpg",
        )
        for ending, (severity, loss) in without.items()
        if sidecar(path, ending) is None
    ] + _cut(path)


def _cut(path: Path) -> list[Finding]:
    """Say which files of a shapefile are shorter than they themselves say: they were cut off."""
    findings = []
    for ending in (".shp", ".shx", ".dbf"):
        beside = path if ending == ".shp" else sidecar(path, ending)
        if beside is None:
            continue
        with beside.open("rb") as stream:
            head = stream.read(100)
        if ending == ".dbf":
            if len(head) < 12:
                stated = 32
            else:
                records, header, record = struct.unpack_from("<IHH", head, 4)
                stated = header + records * record
        else:
            stated = 2 * struct.unpack_from(">i", head, 24)[0] if len(head) >= 28 else 100
        actual = beside.stat().st_size
        if actual < stated:
            findings.append(
                Finding(
                    "file-cut",
                    "error",
                    f"{beside.name} holds {actual} bytes and says that it is {stated} long: it was cut off",
                    Where(file=beside.name),
                    "export it again, or copy it again from where it came",
                )
            )
    return findings

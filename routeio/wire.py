"""The wire: what a reader found, as JSON and plain arrays between two processes, with nothing in it that runs."""

from __future__ import annotations

import json
import mmap
import struct
from collections.abc import Mapping
from dataclasses import asdict, replace
from typing import Any, BinaryIO

import numpy as np
import shapely

from routeio.findings import Finding, InputRefusedError, Where
from routeio.options import ReadOptions, Selection
from routeio.rawcolumns import RawColumns
from routeio.rawlines import RawSurvey, RawVault, StatedProfile, StatedSpan
from routeio.survey import DuctFields, Ground

_LENGTH = struct.Struct("<Q")
#: Columns of the lines that are always arrays.
_COLUMNS = (
    "points", "bulge", "sizes", "id_names", "id_times", "drawn", "fields", "where_layers", "where_names", "where_places",
)  # fmt: skip


def options_to_json(options: ReadOptions) -> dict[str, Any]:
    """Return options as plain values.

    Parameters
    ----------
    options : ReadOptions
        Any.

    Returns
    -------
    dict
        For :func:`options_from_json`.
    """
    # elevations from elsewhere are no business of a reader
    plain = asdict(replace(options, profile=None, terrain=None))
    for key in ("ducts", "vaults"):
        told = getattr(options, key)
        plain[key] = {
            "layer": told.patterns,
            "where": told.where,
            "fields": dict(told.fields),
            "color": told.colors,
            "linetype": told.linetypes,
            "block": told.blocks,
        }
    return plain


def options_from_json(plain: Mapping[str, Any]) -> ReadOptions:
    """Return the options that :func:`options_to_json` wrote.

    Parameters
    ----------
    plain : mapping
        As written.

    Returns
    -------
    ReadOptions
        The same.
    """
    values = dict(plain)
    for key in ("ducts", "vaults"):
        part = values[key]
        values[key] = Selection(
            tuple(part["layer"]),
            part["where"],
            dict(part["fields"]),
            tuple(part["color"]),
            tuple(part["linetype"]),
            tuple(part["block"]),
        )
    values["standard_radii"] = tuple(values["standard_radii"])
    return ReadOptions(**values)


def send_refusal(refusal: InputRefusedError, stream: BinaryIO) -> None:
    """Write a refusal.

    Parameters
    ----------
    refusal : InputRefusedError
        What was raised.
    stream : file
        Binary.
    """
    head = {
        "refused": {
            "code": refusal.code,
            "message": refusal.message,
            "where": asdict(refusal.where),
            "remedy": refusal.remedy,
            "findings": [asdict(f) for f in refusal.findings],
        }
    }
    _write(head, {}, stream)


def send_json(kind: str, value: object, stream: BinaryIO) -> None:
    """Write plain values.

    Parameters
    ----------
    kind : str
        What they are.
    value : object
        Of what JSON knows.
    stream : file
        Binary.
    """
    _write({kind: value}, {}, stream)


def send_arrays(kind: str, value: object, arrays: Mapping[str, np.ndarray], stream: BinaryIO) -> None:
    """Write plain values and arrays.

    Parameters
    ----------
    kind : str
        What they are.
    value : object
        Of what JSON knows.
    arrays : mapping of str to ndarray
        By name.
    stream : file
        Binary.
    """
    _write({kind: value}, arrays, stream)


def received_arrays(data: bytes | mmap.mmap) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Return the values and arrays that :func:`send_arrays` wrote, or raise the refusal that was sent.

    Parameters
    ----------
    data : bytes or mmap
        All of it.

    Returns
    -------
    values : dict
        By their kind.
    arrays : dict of str to ndarray
        By name.

    Raises
    ------
    InputRefusedError
        As it was raised.
    ValueError
        Where the data was cut off or is none of ours.
    """
    head, arrays = _parsed(data)
    if "refused" in head:
        raise _refusal(head["refused"])
    return head, arrays


def send_survey(raw: RawSurvey, stream: BinaryIO) -> None:
    """Write a raw survey.

    Parameters
    ----------
    raw : RawSurvey
        What a reader found.
    stream : file
        Binary.
    """
    lines = RawColumns.of(raw.lines)
    outlines = [shapely.to_wkb(v.footprint) if v.footprint is not None else b"" for v in raw.vaults]
    arrays = {
        **lines.arrays(),
        "vault_places": np.array([(v.x, v.y, v.z) for v in raw.vaults], dtype=np.float64).reshape(-1, 3),
        "outlines": np.frombuffer(b"".join(outlines), dtype=np.uint8),
        "outline_sizes": np.array([len(o) for o in outlines], dtype=np.int64),
    }
    head = {
        "survey": {
            "names": None if "names" in arrays else lines.names,
            "kinds": [_fields_key(kind) for kind in lines.kinds],
            "where_layers": lines.layers,
            "vaults": [[v.tag, dict(v.fields), _where(v.where)] for v in raw.vaults],
            "ground": asdict(raw.ground),
            "findings": [asdict(f) for f in raw.findings],
            "counts": dict(raw.counts),
            "layers": {name: dict(kinds) for name, kinds in raw.layers.items()},
            "spans": [asdict(span) for span in raw.spans],
            "profiles": {name: asdict(profile) for name, profile in raw.profiles.items()},
        }
    }
    _write(head, arrays, stream)


def received(data: bytes | mmap.mmap) -> RawSurvey | dict[str, Any]:
    """Return what was sent, or raise the refusal that was.

    Parameters
    ----------
    data : bytes or mmap
        All of it.

    Returns
    -------
    RawSurvey or dict
        The survey, or the plain values by their kind.

    Raises
    ------
    InputRefusedError
        As the reader raised it.
    ValueError
        Where the data was cut off or is none of ours.
    """
    head, arrays = _parsed(data)
    if "refused" in head:
        raise _refusal(head["refused"])
    if "survey" not in head:
        return head
    return _survey(head["survey"], arrays)


def _refusal(said: Mapping[str, Any]) -> InputRefusedError:
    return InputRefusedError(
        said["code"],
        said["message"],
        Where(**said["where"]),
        said["remedy"],
        tuple(_finding(f) for f in said["findings"]),
    )


def _survey(head: Mapping[str, Any], arrays: Mapping[str, np.ndarray]) -> RawSurvey:
    lines = RawColumns(
        **{key: arrays[key] for key in _COLUMNS},
        names=arrays["names"] if head["names"] is None else tuple(head["names"]),
        kinds=tuple(DuctFields(*kind) for kind in head["kinds"]),
        layers=tuple((file, layer) for file, layer in head["where_layers"]),
    )
    outline_ends = np.cumsum(arrays["outline_sizes"])
    raw_outlines = arrays["outlines"].tobytes()
    vaults = []
    for k, (tag, fields, where) in enumerate(head["vaults"]):
        last = int(outline_ends[k])
        wkb = raw_outlines[last - int(arrays["outline_sizes"][k]) : last]
        x, y, z = (float(v) for v in arrays["vault_places"][k])
        vaults.append(RawVault(tag, x, y, z, shapely.from_wkb(wkb) if wkb else None, fields, Where(*where)))
    return RawSurvey(
        lines,
        tuple(vaults),
        Ground(**head["ground"]),
        tuple(_finding(f) for f in head["findings"]),
        head["counts"],
        head["layers"],
        tuple(_span(span) for span in head["spans"]),
        {name: _profile(profile) for name, profile in head["profiles"].items()},
    )


def _span(plain: Mapping[str, Any]) -> StatedSpan:
    values: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in plain.items()}
    values["fields"] = tuple((stop, DuctFields(**fields)) for stop, fields in plain["fields"])
    values["where"] = Where(**plain["where"])
    return StatedSpan(**values)


def _profile(plain: Mapping[str, Any]) -> StatedProfile:
    where = Where(**plain["where"])
    return StatedProfile(tuple(plain["station"]), tuple(plain["z"]), tuple(plain["turn"]), where)


def _fields_key(fields: DuctFields) -> tuple[object, ...]:
    return (
        fields.size, fields.type, fields.inside_diameter, fields.friction, fields.count, fields.free,
        fields.recorded_length, fields.flooded,
    )  # fmt: skip


def _where(where: Where) -> list[object]:
    return [where.file, where.layer, where.id, where.x, where.y]


def _finding(plain: Mapping[str, Any]) -> Finding:
    return Finding(**{**plain, "where": Where(**plain["where"])})


def _write(head: object, arrays: Mapping[str, np.ndarray], stream: BinaryIO) -> None:
    packed = {name: np.ascontiguousarray(array) for name, array in arrays.items()}
    # of arrays of nothing but zeros, such as the bulges of a layer, the shape is enough
    packed = {name: array if array.any() else array[:0] for name, array in packed.items()}
    said = [[name, array.dtype.str, array.shape, packed[name].size > 0] for name, array in arrays.items()]
    text = json.dumps({"head": head, "arrays": said}).encode("utf-8")
    stream.write(_LENGTH.pack(len(text)))
    stream.write(text)
    for array in packed.values():
        stream.write(array.data.cast("B") if array.size else b"")
    stream.flush()


def _parsed(data: bytes | mmap.mmap) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    if len(data) < _LENGTH.size:
        raise ValueError("nothing came back")
    (length,) = _LENGTH.unpack_from(data)
    at = _LENGTH.size + length
    said = json.loads(data[_LENGTH.size : at])
    arrays = {}
    for name, kind, shape, follows in said["arrays"]:
        dtype = np.dtype(kind)
        if not follows:
            arrays[name] = np.zeros(shape, dtype)
            continue
        count = int(np.prod(shape))
        arrays[name] = np.frombuffer(data, dtype, count, at).reshape(shape)
        at += count * dtype.itemsize
    return said["head"], arrays

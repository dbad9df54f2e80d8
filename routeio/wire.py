"""The wire: what a reader found, as JSON and plain arrays between two processes, with nothing in it that runs."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from itertools import groupby
from typing import Any, BinaryIO

import numpy as np
import shapely

from routeio.findings import Finding, InputRefusedError, Where
from routeio.options import ReadOptions, Selection
from routeio.rawlines import RawLine, RawSurvey, RawVault
from routeio.survey import DuctFields, Ground

_LENGTH = struct.Struct("<Q")


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


def received_arrays(data: bytes) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Return the values and arrays that :func:`send_arrays` wrote, or raise the refusal that was sent.

    Parameters
    ----------
    data : bytes
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
    lines = raw.lines
    names, kinds, layers = _Table(), _Table(), _Table()
    runs = [run for line in lines for run in _runs(line.ids)]
    outlines = [shapely.to_wkb(v.footprint) if v.footprint is not None else b"" for v in raw.vaults]
    arrays = {
        **_joined("points", [line.points for line in lines], (0, 3)),
        **_joined("bulge", [line.bulge for line in lines], (0,)),
        "sizes": np.array([line.points.shape[0] for line in lines], dtype=np.int64),
        # the legs of a line mostly come from one entity: a name and how often it stands there
        "id_names": names.indices([name for name, _ in runs]),
        "id_times": np.array([times for _, times in runs], dtype=np.int64),
        "drawn": np.array([line.drawn for line in lines], dtype=bool),
        "fields": kinds.indices([line.fields for line in lines]),
        "where_layers": layers.indices([(line.where.file, line.where.layer) for line in lines]),
        "where_names": names.indices([line.where.id for line in lines]),
        "where_places": _places([line.where for line in lines]),
        "vault_places": np.array([(v.x, v.y, v.z) for v in raw.vaults], dtype=np.float64).reshape(-1, 3),
        "outlines": np.frombuffer(b"".join(outlines), dtype=np.uint8),
        "outline_sizes": np.array([len(o) for o in outlines], dtype=np.int64),
    }
    head = {
        "survey": {
            "names": list(names.known),
            "fields": [_fields_key(kind) for kind in kinds.known],
            "where_layers": list(layers.known),
            "vaults": [[v.tag, dict(v.fields), _where(v.where)] for v in raw.vaults],
            "ground": asdict(raw.ground),
            "findings": [asdict(f) for f in raw.findings],
            "counts": dict(raw.counts),
            "layers": {name: dict(kinds_) for name, kinds_ in raw.layers.items()},
        }
    }
    _write(head, arrays, stream)


def received(data: bytes) -> RawSurvey | dict[str, Any]:
    """Return what was sent, or raise the refusal that was.

    Parameters
    ----------
    data : bytes
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
    points, bulge = arrays["points"], arrays["bulge"]
    kinds = [DuctFields(*kind) for kind in head["fields"]]
    names, layers = head["names"], head["where_layers"]
    runs = zip(arrays["id_names"].tolist(), arrays["id_times"].tolist(), strict=True)
    lines = []
    first = 0
    for k, (size, drawn, kind, layer, name, place) in enumerate(
        zip(
            *(arrays[key].tolist() for key in ("sizes", "drawn", "fields", "where_layers", "where_names")),
            arrays["where_places"].tolist(),
            strict=True,
        )
    ):
        last = first + size
        which, times = next(runs)
        ids = (names[which],) * times
        while len(ids) < size - 1:
            which, times = next(runs)
            ids += (names[which],) * times
        x, y = (None if v != v else v for v in place)
        file, on = layers[layer]
        lines.append(
            RawLine(
                points[first:last],
                bulge[first - k : last - k - 1],
                ids,
                drawn,
                kinds[kind],
                Where(file, on, names[name], x, y),
            )
        )
        first = last
    outline_ends = np.cumsum(arrays["outline_sizes"])
    raw_outlines = arrays["outlines"].tobytes()
    vaults = []
    for k, (tag, fields, where) in enumerate(head["vaults"]):
        last = int(outline_ends[k])
        wkb = raw_outlines[last - int(arrays["outline_sizes"][k]) : last]
        x, y, z = (float(v) for v in arrays["vault_places"][k])
        vaults.append(RawVault(tag, x, y, z, shapely.from_wkb(wkb) if wkb else None, fields, Where(*where)))
    return RawSurvey(
        tuple(lines),
        tuple(vaults),
        Ground(**head["ground"]),
        tuple(_finding(f) for f in head["findings"]),
        head["counts"],
        head["layers"],
    )


class _Table:
    """Values that stand in many places, each sent once."""

    def __init__(self) -> None:
        self.known: dict[Any, int] = {}

    def indices(self, values: Sequence[Any]) -> np.ndarray:
        known = self.known
        return np.array([known.setdefault(v, len(known)) for v in values], dtype=np.int64)


def _runs(ids: tuple[str, ...]) -> list[tuple[str, int]]:
    """Return each name with how often it follows upon itself."""
    if not ids or ids.count(ids[0]) == len(ids):
        return [(ids[0] if ids else "", len(ids))]
    return [(name, sum(1 for _ in group)) for name, group in groupby(ids)]


def _places(wheres: Sequence[Where]) -> np.ndarray:
    nan = float("nan")
    pairs = [(nan if w.x is None else w.x, nan if w.y is None else w.y) for w in wheres]
    return np.array(pairs, dtype=np.float64).reshape(-1, 2)


def _joined(name: str, parts: Sequence[np.ndarray], empty: tuple[int, ...]) -> dict[str, np.ndarray]:
    return {name: np.concatenate(parts) if parts else np.zeros(empty)}


def _fields_key(fields: DuctFields) -> tuple[object, ...]:
    return (
        fields.size, fields.type, fields.inside_diameter, fields.friction, fields.count, fields.free,
        fields.recorded_length,
    )  # fmt: skip


def _where(where: Where) -> list[object]:
    return [where.file, where.layer, where.id, where.x, where.y]


def _finding(plain: Mapping[str, Any]) -> Finding:
    return Finding(**{**plain, "where": Where(**plain["where"])})


def _write(head: object, arrays: Mapping[str, np.ndarray], stream: BinaryIO) -> None:
    packed = {name: np.ascontiguousarray(array) for name, array in arrays.items()}
    said = [[name, array.dtype.str, array.shape] for name, array in packed.items()]
    text = json.dumps({"head": head, "arrays": said}).encode("utf-8")
    stream.write(_LENGTH.pack(len(text)))
    stream.write(text)
    for array in packed.values():
        stream.write(array.data.cast("B") if array.size else b"")
    stream.flush()


def _parsed(data: bytes) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    if len(data) < _LENGTH.size:
        raise ValueError("nothing came back")
    (length,) = _LENGTH.unpack_from(data)
    at = _LENGTH.size + length
    said = json.loads(data[_LENGTH.size : at])
    arrays = {}
    for name, kind, shape in said["arrays"]:
        dtype = np.dtype(kind)
        count = int(np.prod(shape))
        arrays[name] = np.frombuffer(data, dtype, count, at).reshape(shape)
        at += count * dtype.itemsize
    return said["head"], arrays

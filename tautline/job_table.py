"""Reading one TOML table strictly: types, units, ranges, unknown keys; every fault noted, none raised alone."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Any

from mechanics.errors import DomainError
from mechanics.units import accepted, quantity

# The SI unit of each kind of value, as the result document writes it.
SI_UNIT = {
    "length": "m",
    "diameter": "m",
    "area": "m2",
    "force": "N",
    "weight": "N/m",
    "sidewall": "N/m",
    "angle": "rad",
    "temperature": "degC",
    "ratio": "1",
}
Value = float | str | bool | None


@dataclass(frozen=True)
class Setting:
    """One thing the job stated or left to a default.

    Parameters
    ----------
    name : str
        Such as ``plan.reel``.
    value : float, str, bool or None
        In SI units.
    unit : str
        SI, empty where there is none.
    source : str
        ``job``, or where the default comes from.
    """

    name: str
    value: Value
    unit: str
    source: str


def nearest(word: str, known: Sequence[str] | set[str]) -> str:
    """Return `` (did you mean "..."?)`` for the known word most like ``word``, or nothing.

    Parameters
    ----------
    word : str
        As the user wrote it.
    known : sequence or set of str
        What it might have been.

    Returns
    -------
    str
        With a space in front; empty where nothing is like it.

    Examples
    --------
    >>> nearest("lubricatd", ["dry", "lubricated"])
    ' (did you mean "lubricated"?)'
    >>> nearest("x", ["dry", "lubricated"])
    ''
    """
    by_fold = {name.casefold(): name for name in sorted(known)}
    close = get_close_matches(word.casefold(), list(by_fold), n=1, cutoff=0.6)
    return f' (did you mean "{by_fold[close[0]]}"?)' if close else ""


@cache
def defaults() -> Mapping[str, Mapping[str, Any]]:
    """Return the documented defaults, by table and key, each with ``value`` and ``source``.

    Returns
    -------
    mapping
        As in ``defaults.toml`` beside the code.
    """
    return tomllib.loads(files("tautline").joinpath("data/defaults.toml").read_text(encoding="utf-8"))


@dataclass
class Record:
    """What is noted while a job file is read.

    Parameters
    ----------
    file : str
        The job file's name, for messages.
    faults, assumed, overridden : list of str
        Sentences.
    settings : list of Setting
        Everything read, in the order it was asked for.
    tables : list of Table
        All tables read, to be closed at the end.
    known : dict of str to set of str
        Keys that each table may hold, as they are asked for.
    """

    file: str
    faults: list[str] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    overridden: list[str] = field(default_factory=list)
    settings: list[Setting] = field(default_factory=list)
    tables: list[Table] = field(default_factory=list)
    known: dict[str, set[str]] = field(default_factory=dict)


class Table:
    """One table of the job file; every key asked for is known, every other key in it is a fault.

    Parameters
    ----------
    name : str
        Such as ``friction`` or ``plan.cost``; empty for the whole file.
    values : mapping
        As parsed.
    record : Record
        Where faults, assumptions and settings go.
    like : str, optional
        The table whose defaults hold; its own name by default.
    """

    def __init__(self, name: str, values: Mapping[str, Any], record: Record, like: str = "") -> None:
        self.name = name
        self.like = like or name
        self.values = values
        self.record = record
        self._known = record.known.setdefault(re.sub(r"\[\d+\]", "", name), set())
        record.tables.append(self)

    def __contains__(self, key: str) -> bool:
        """Whether the user wrote ``key``."""
        return key in self.values

    def fault(self, key: str, message: str) -> None:
        """Note that ``key`` is wrong; ``message`` goes after its name."""
        table = f"[{self.name}]" if self.name else "top level"
        place = f"{self.name}.{key}" if self.name else key
        self.record.faults.append(f"{place} {message} ({self.record.file}, {table})")

    def assume(self, message: str) -> None:
        """Note in a sentence that something was not stated and what was taken."""
        if message not in self.record.assumed:
            self.record.assumed.append(message)

    def override(self, message: str) -> None:
        """Note in a sentence that the job overrides something."""
        self.record.overridden.append(message)

    def note(self, key: str, value: Value, unit: str = "", source: str = "") -> None:
        """Put ``key`` on the list of settings."""
        self.record.settings.append(Setting(f"{self.name}.{key}", value, unit, source or self._source(key)))

    def text(self, key: str, *, required: bool = False, choices: Sequence[str] | None = None) -> str | None:
        """Return a string, one of ``choices`` where given; None where absent or faulty."""
        kind = "one of " + ", ".join(f'"{c}"' for c in choices) if choices else "text in quotes"
        value = self._take(key, kind, required)
        if value is None:
            return None
        if not isinstance(value, str) or not value.strip():
            self.fault(key, f"must be {kind}, got {_shown(value)}")
            return None
        if choices and value not in choices:
            self.fault(key, f"must be {kind}, got {_shown(value)}{nearest(value, choices)}")
            return None
        self.note(key, value)
        return value

    def texts(self, key: str, *, required: bool = False) -> tuple[str, ...] | None:
        """Return a list of strings (one string alone counts as a list of one)."""
        value = self._take(key, "a list of names in quotes", required)
        if value is None:
            return None
        listed = [value] if isinstance(value, str) else value
        if not isinstance(listed, list) or not all(isinstance(v, str) and v.strip() for v in listed):
            self.fault(key, f"must be a list of names in quotes, got {_shown(value)}")
            return None
        self.note(key, ", ".join(listed))
        return tuple(listed)

    def colors(self, key: str) -> tuple[str, ...] | None:
        """Return colours of a drawing: one or a list of index numbers 1 to 255 or ``"#rrggbb"``."""
        value = self._take(
            key, 'a color number from 1 to 255 or "#rrggbb", or a list of them', required=False
        )
        if value is None:
            return None
        listed = value if isinstance(value, list) else [value]
        found = []
        for one in listed:
            number = isinstance(one, int) and not isinstance(one, bool) and 1 <= one <= 255
            if not number and not (isinstance(one, str) and re.fullmatch(r"#[0-9a-fA-F]{6}", one)):
                self.fault(key, f'must be a color number from 1 to 255 or "#rrggbb", got {_shown(one)}')
                return None
            found.append(str(one).lower())
        self.note(key, ", ".join(found))
        return tuple(found)

    def rows(self, key: str) -> tuple[tuple[str, ...], ...] | None:
        """Return a list of lists of strings."""
        value = self._take(key, "a list of rows, each a list of texts in quotes", required=False)
        if value is None:
            return None
        rows = value if isinstance(value, list) else [value]
        if not rows or not all(isinstance(r, list) and all(isinstance(c, str) for c in r) for r in rows):
            self.fault(key, f"must be a list of rows, each a list of texts in quotes, got {_shown(value)}")
            return None
        self.note(key, f"{len(rows)} rows")
        return tuple(tuple(row) for row in rows)

    def flag(self, key: str) -> bool | None:
        """Return true or false."""
        value = self._take(key, "true or false", required=False)
        if value is None:
            return None
        if not isinstance(value, bool):
            self.fault(key, f"must be true or false, got {_shown(value)}")
            return None
        self.note(key, value)
        return value

    def whole(self, key: str, *, at_least: int, at_most: int, required: bool = False) -> int | None:
        """Return a whole number within bounds."""
        kind = f"a whole number from {at_least} to {at_most}"
        value = self._take(key, kind, required)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not at_least <= value <= at_most:
            self.fault(key, f"must be {kind}, got {_shown(value)}")
            return None
        self.note(key, value)
        return value

    def number(
        self,
        key: str,
        *,
        above: float | None = None,
        at_least: float | None = None,
        at_most: float | None = None,
        required: bool = False,
    ) -> float | None:
        """Return a plain number (a coefficient, a factor, a price) within bounds."""
        bounds = _bounds(above, at_least, at_most)
        value = self._take(key, f"a plain number{bounds and ' ' + bounds}", required)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.fault(key, f"must be a plain number, without quotes or unit, got {_shown(value)}")
            return None
        if not _within(value, above, at_least, at_most):
            self.fault(key, f"must be {bounds or 'finite'}, got {_shown(value)}")
            return None
        self.note(key, float(value))
        return float(value)

    def quantity(
        self,
        key: str,
        kind: str,
        *,
        above: float | None = None,
        at_least: float | None = None,
        at_most: float | None = None,
        required: bool = False,
    ) -> float | None:
        """Return a quantity in SI units, within bounds (which are SI too)."""
        value = self._take(key, f"a {kind} with its unit: {', '.join(accepted(kind))}", required)
        if value is None:
            return None
        number = self.measure(key, value, kind, above=above, at_least=at_least, at_most=at_most)
        if number is not None:
            self.note(key, number, SI_UNIT[kind])
        return number

    def measure(
        self,
        key: str,
        value: object,
        kind: str,
        *,
        above: float | None = None,
        at_least: float | None = None,
        at_most: float | None = None,
    ) -> float | None:
        """Return ``value``, found at ``key``, as a quantity in SI units."""
        try:
            number = quantity(value, kind)
        except DomainError as error:
            # the message begins with the kind of value, where ours begins with the key
            self.fault(key, str(error).removeprefix(f"{kind} "))
            return None
        if not _within(number, above, at_least, at_most):
            bounds = _bounds(above, at_least, at_most, SI_UNIT[kind]) or "finite"
            self.fault(key, f"must be {bounds}, got {_shown(value)}")
            return None
        return number

    def allow(self, key: str) -> None:
        """Know ``key`` without reading it."""
        self._known.add(key)

    def sub(self, key: str) -> Table:
        """Return the table ``key``, empty where absent or not a table."""
        self._known.add(key)
        name = f"{self.name}.{key}" if self.name else key
        value = self.values.get(key, {})
        if not isinstance(value, dict):
            self.fault(key, f"must be a table, [{name}] or {{ ... }}, got {_shown(value)}")
            value = {}
        return Table(name, value, self.record, f"{self.like}.{key}" if self.like else key)

    def subs(self, key: str) -> list[Table]:
        """Return the tables of the array ``[[key]]``."""
        self._known.add(key)
        value = self.values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            self.fault(key, f"must be written as [[{key}]], one table each, got {_shown(value)}")
            value = []
        return [Table(f"{key}[{i}]", v, self.record) for i, v in enumerate(value, 1)]

    def close(self) -> None:
        """Note every key that nobody asked for, with the nearest one there is or the table it belongs in."""
        for key in self.values:
            if key in self._known:
                continue
            homes = [f"[{table}]" for table, keys in self.record.known.items() if table and key in keys]
            hint = f" (it belongs in {' or '.join(homes)})" if homes else nearest(key, self._known)
            what = f"this table, which holds {', '.join(sorted(self._known))}" if self.name else "a job file"
            self.fault(key, f"is not a key of {what}{hint}")

    def _take(self, key: str, kind: str, required: bool) -> Any:
        """Return the raw value of ``key``, or its documented default, or None."""
        self._known.add(key)
        if key in self.values:
            return self.values[key]
        default = defaults().get(self.like, {}).get(key)
        if default is not None:
            value = default["value"]
            shown = {True: "yes", False: "no"}[value] if isinstance(value, bool) else value
            self.assume(f"{self.name}.{key} not stated: {shown} taken ({default['source']}).")
            return value
        if required:
            self.fault(key, f"is missing; it must be {kind}")
        return None

    def _source(self, key: str) -> str:
        if key in self.values:
            return "job"
        return str(defaults().get(self.like, {}).get(key, {}).get("source", "job"))


def _shown(value: object) -> str:
    """Return ``value`` as the user would have written it, cut short."""
    if isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, str):
        text = f'"{value}"'
    else:
        text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _within(value: float, above: float | None, at_least: float | None, at_most: float | None) -> bool:
    """Whether ``value`` is finite and within the bounds; NaN never is."""
    try:
        finite = math.isfinite(value)
    except OverflowError:  # a whole number beyond any float
        return False
    return (
        finite
        and (above is None or value > above)
        and (at_least is None or value >= at_least)
        and (at_most is None or value <= at_most)
    )


def _bounds(above: float | None, at_least: float | None, at_most: float | None, unit: str = "") -> str:
    bounds = (("above", above), ("at least", at_least), ("at most", at_most))
    return " and ".join(
        f"{word} {bound:g} {unit if bound else ''}".rstrip() for word, bound in bounds if bound is not None
    )

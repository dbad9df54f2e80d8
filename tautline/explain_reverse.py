"""The other way of a pull as a pull of its own, from what the document says of both."""

from __future__ import annotations

from collections.abc import Iterator

from mechanics.units import quantity
from tautline.document import Document
from tautline.errors import UsageError
from tautline.explain_piece import number
from tautline.explain_units import Units

_TENSIONS = ("max_tension", "conductor_tension", "eye_tension", "grip_tension", "sheath_tension")
_ATTENTION = 0.8  # of a limit, as the limits' table has it


def turned(pull: Document) -> Document:
    """Return the other way of a pull, as far as the document tells it.

    Parameters
    ----------
    pull : dict
        A pull of a result document.

    Returns
    -------
    dict
        A pull, fed at the other end. Where the document is of an older version and does not give the checks of that
        way, those on tension and sidewall pressure are made anew on its profile and those that no direction changes
        are as they are; lubricant, starting again after a stop, and what a brake set for low friction does are not
        known then.

    Raises
    ------
    UsageError
        The document does not say enough of the other way.
    """
    name = f"{pull['pull']}:{pull['feed']}"
    other = pull["reverse"]
    if other is None or "segments" not in other:
        raise UsageError(f"the result says too little of {name} to work it out; plan or check again")
    profile = other["profile"]
    end = profile["station_m"][-1]
    passes = _passes(pull, other)
    checks = other.get("checks") or [
        _again(check, other, end)
        for check in pull["checks"]
        if not check["name"].startswith(("restart", "braked"))
    ]
    worst = max(
        (c for c in checks if c["binding"] and c["utilisation"] is not None and c["name"] != "reel_length"),
        key=lambda c: float(c["utilisation"]),
        default=None,
    )
    return pull | {
        "feed": pull["pull"],
        "pull": pull["feed"],
        "passes": passes,
        "relube": other["relube"],
        "checks": checks,
        "governs": worst["name"] if worst else "",
        "lubricant": None,
        "reverse": None,
        "notes": [],
        **{key: value for key, value in other.items() if key in pull},
    }


def other_verdict(other: Document) -> str:
    """Return the verdict on the other way of a pull, and why.

    Parameters
    ----------
    other : dict
        The other way, as the document has it.

    Returns
    -------
    str
        With the check that governs and what is used of its limit, and every check that failed, as far as they are told.
    """
    own = next((c for c in other.get("checks", []) if c["name"] == other.get("governs")), None)
    used = own["utilisation"] if own else other["utilisation"]
    governs = str(other.get("governs") or "").replace("_", " ")
    # what has no utilisation can fail a pull that has room everywhere else
    failed = [
        c["name"].replace("_", " ")
        for c in other.get("checks", [])
        if c["binding"] and c["verdict"] == "fail" and c["name"] != other.get("governs")
    ]
    said = [
        f"governed by {governs}" if governs else "",
        "" if used is None else f"{100 * used:.1f} % of {'its' if own else 'a'} limit",
        f"failed too: {', '.join(failed)}" if failed else "",
    ]
    return ", ".join((other["verdict"].upper(), *filter(None, said)))


def other_lines(pull: Document, units: Units) -> Iterator[str]:
    """Tell what the other way of a pull comes to.

    Parameters
    ----------
    pull : dict
        A pull of a result document.
    units : Units
        Of the page.

    Yields
    ------
    str
        Lines of text.
    """
    other = pull["reverse"]
    profile, stops = other["profile"], ", ".join(other["relube"]) or "nowhere"
    k = max(range(len(profile["tension_N"])), key=lambda i: float(profile["tension_N"][i]))
    yield f"  verdict: {other_verdict(other)}"
    yield f"  entry tension {units.told_force(other['entry_tension_N'])}, exit {units.told_force(other['exit_tension_N'])}"
    yield (
        f"  greatest tension {units.told_force(other['max_tension_N'])}, about {units.told_length(profile['station_m'][k])} "
        f"from {pull['pull']}"
    )
    if other["max_sidewall_station_m"] is not None:
        yield (
            f"  greatest sidewall pressure {units.told_per_length(other['max_sidewall_N_per_m'])}, in the bend that ends "
            f"{units.told_length(other['max_sidewall_station_m'])} from {pull['pull']}"
        )
    brake = other.get("brake_tension_N", other["holding_tension_N"])
    if brake > 0:
        yield f"  the brake has to give {units.told_force(brake)}"
    yield f"  re-lubricated at: {stops}"
    for check in other.get("checks", []):
        if check["name"] == "restart_tension":
            yield f"  starting again after the last stop {units.told_force(check['value'])}"
    if other.get("lubricant"):
        unit = quantity("1 gal", "volume") if units.system == "us" else 1.0
        name = "gal" if units.system == "us" else "L"
        shares = ", ".join(f"{at['vault']} {number(at['litres'] / unit)}" for at in other["lubricant"]["at"])
        yield f"  lubricant {number(other['lubricant']['total_L'] / unit)} {name} in all: {shares}"
    if "segments" in other:
        yield f"  worked out in full by: tautline explain RESULT {pull['pull']}:{pull['feed']}"


def _passes(pull: Document, other: Document) -> list[Document]:
    """Vaults in the order in which the other way passes them: each where its crossing ends one way, begins the other."""
    segments, station = other["segments"], other["profile"]["station_m"]
    tags = [p["tag"] for p in reversed(pull["passes"])]
    back = [station[-1] - p["station_m"] for p in reversed(pull["passes"])]
    found = []
    for tag, near in zip(tags, back, strict=True):
        # the nearest joint of segments is where the crossing ends; its guides lie before that
        k = min(range(len(station)), key=lambda j: abs(station[j] - near))
        while k > 0 and segments["id"][k - 1] == f"vault {tag}":
            k -= 1
        found.append({"tag": tag, "station_m": station[k]})
    return found


def _again(check: Document, other: Document, end: float) -> Document:
    """Return a check as it comes out the other way."""
    profile, name = other["profile"], check["name"]
    if name in _TENSIONS:
        return _held(check, other["max_tension_N"], profile["tension_N"], profile["station_m"])
    if name == "max_sidewall":
        return _held(check, other["max_sidewall_N_per_m"], profile["sidewall_N_per_m"], profile["station_m"])
    if name == "puller_tension" and "winch_N" in profile:
        return _held(check, max(profile["winch_N"]), profile["winch_N"], profile["station_m"])
    where = check["station_m"]
    return check | {"station_m": None if where is None else end - where}


def _held(check: Document, value: float, values: list[float], station: list[float]) -> Document:
    where = station[max(range(len(values)), key=lambda k: values[k])]
    limit = check["limit"]
    used = None if limit is None or check["utilisation"] is None else value / limit
    verdict = check["verdict"]
    if used is not None:
        failed = "fail" if check["binding"] else "attention"
        verdict = (
            failed if not used <= 1 else "attention" if check["binding"] and used > _ATTENTION else "pass"
        )
    return check | {"value": value, "utilisation": used, "verdict": verdict, "station_m": where}

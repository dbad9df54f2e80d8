"""What ``check`` answers the other way round: how far, how tight, how narrow."""

from __future__ import annotations

from dataclasses import dataclass

from mechanics.pull import PullResult
from mechanics.tables import built_in, inside_diameter
from network import build_row, feeder_route
from network.graph import DuctNetwork
from network.inverse import Smallest, longest_pull, smallest_duct, smallest_radius
from network.mixed import pulls_of
from network.row import Row
from tautline.bundles import LaidBundles
from tautline.document import Document
from tautline.errors import JobError, UsageError
from tautline.job import Job
from tautline.job_table import nearest


@dataclass(frozen=True)
class Questions:
    """What is asked.

    Parameters
    ----------
    longest_from : tuple of str
        Vaults of the feeder: how far a pull from each can go, both ways.
    smallest_radius, smallest_duct : tuple of (str, str)
        From and to: the tightest bends, and the narrowest duct, with which a pull between them passes.
    """

    longest_from: tuple[str, ...] = ()
    smallest_radius: tuple[tuple[str, str], ...] = ()
    smallest_duct: tuple[tuple[str, str], ...] = ()


def stretch(text: str) -> tuple[str, str]:
    """Read ``FROM:TO``.

    Parameters
    ----------
    text : str
        Two vault tags.

    Returns
    -------
    tuple of (str, str)
        The tags.

    Raises
    ------
    UsageError
        Something else.
    """
    one, colon, other = text.partition(":")
    if not (colon and one.strip() and other.strip() and one.strip() != other.strip()):
        raise UsageError(f'must be two vaults, FROM:TO, such as MH-3:MH-4, got "{text}"')
    return one.strip(), other.strip()


def answers(laid: LaidBundles, network: DuctNetwork, asked: Questions) -> list[Document]:
    """Answer questions.

    Parameters
    ----------
    laid : LaidBundles
        Cables, limits, feeder, and which bundle goes where.
    network : DuctNetwork
        Vaults and ducts.
    asked : Questions
        What is asked.

    Returns
    -------
    list of dict
        ``answer`` of the schema, in the order they were asked.

    Raises
    ------
    JobError
        No feeder for the longest pull, a vault that it does not pass, a duct whose type no table has.
    InputRefusedError
        Vaults that are not there or that no ducts connect.
    """
    job = laid.job
    found = [one for tag in asked.longest_from for one in _longest(laid, network, tag)]
    for ends in asked.smallest_radius:
        pulls = laid.pulls(feeder_route(network, ends), "the stretch")
        row = pulls.row
        if not any((span.chain.turn != 0.0).any() for span in row.spans):
            raise JobError(job.file.name, (f"there is no bend in plan between {ends[0]} and {ends[1]}",))
        found.append(
            _smallest("smallest-radius", row, smallest_radius(row, pulls.bundle, pulls.rules), "radius_m")
        )
    for ends in asked.smallest_duct:
        pulls = laid.pulls(feeder_route(network, ends), "the stretch")
        row = pulls.row
        kind, sizes = _sizes(job, network, ends)
        done = smallest_duct(row, pulls.bundle, pulls.rules, list(sizes.values()))
        answer = _smallest("smallest-duct", row, done, "inside_diameter_m")
        names = {diameter: size for size, diameter in reversed(sizes.items())}
        answer |= {"type": kind, "trade_size": None if done.value is None else names[done.value]}
        found.append(answer)
    return found


def _longest(laid: LaidBundles, network: DuctNetwork, tag: str) -> list[Document]:
    job = laid.job
    network.vault(tag)
    if not job.feeder:
        raise JobError(
            job.file.name,
            (
                f"route.feeder is missing; the longest pull from {tag} is looked for along it ({job.file.name}, [route])",
            ),
        )
    route = feeder_route(network, job.feeder)
    pulls = pulls_of(build_row(route, laid.bore, job.guides), job.bundle, job.rules, laid.others)
    row = pulls.row
    tags = [v.tag for v in row.vaults]
    if tag not in tags:
        raise JobError(
            job.file.name,
            (f"the feeder does not pass {tag}; it passes {', '.join(tags)}{nearest(tag, tags)}",),
        )
    feed = tags.index(tag)
    out = []
    bounds = (0, *pulls.changes, len(tags) - 1)
    for against in (False, True):
        # as far as the bundle is the same
        ends = [k for k in bounds if (k < feed if against else k > feed)]
        if not ends:
            continue
        end = ends[-1] if against else ends[0]
        low = min(feed, end)
        own = pulls.between(low, max(feed, end))
        done = longest_pull(own.row, own.bundle, own.rules, feed - low, against)
        out.append(
            {
                "question": "longest",
                "from": tag,
                "to": tags[end],
                "length_m": done.length,
                "reached": tags[low + done.reached],
                "past_m": done.past,
                "stopped_by": _stopped(done.limit),
            }
        )
    return out


def _smallest(question: str, row: Row, done: Smallest, key: str) -> Document:
    ends = [row.vaults[0].tag, row.vaults[-1].tag]
    feed, pull = ends[::-1] if done.against else ends
    return {
        "question": question,
        "from": ends[0],
        "to": ends[1],
        key: done.value,
        "feed": None if done.value is None else feed,
        "pull": None if done.value is None else pull,
        "utilisation": None if done.result is None else done.result.utilisation,
        "stopped_by": _stopped(done.limit),
    }


def _stopped(result: PullResult | None) -> list[str]:
    """Return the binding checks that fail."""
    if result is None:
        return []
    return [c.name for c in result.checks if c.binding and c.verdict == "fail"]


def _sizes(job: Job, network: DuctNetwork, ends: tuple[str, str]) -> tuple[str, dict[str, float]]:
    """Return the type of the ducts of a stretch, and its trade sizes with their inside diameters."""
    kinds = {leg.duct.fields.type or job.lining.type for leg in feeder_route(network, ends).legs}
    tables = job.rules.tables or built_in()
    kind = kinds.pop()
    rows = [
        r.key for r in tables.rows("ducts") if kind is not None and r.key[0].casefold() == kind.casefold()
    ]
    if kinds or kind is None or not rows:
        known = sorted({r.key[0] for r in tables.rows("ducts")})
        raise JobError(
            job.file.name,
            (
                f"the ducts between {ends[0]} and {ends[1]} are not of one type that the table of ducts has; state "
                f"[duct] type, one of {', '.join(known)} ({job.file.name}, [duct])",
            ),
        )
    return kind, {size: inside_diameter(size, kind, tables) for _, size, *_ in rows}

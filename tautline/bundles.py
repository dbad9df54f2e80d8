"""Which bundle goes through which ducts: what the job says of other bundles, laid along its feeder."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from mechanics.track import Bore
from network import FeederRoute, feeder_route
from network.errors import DoublesBackError, NoRouteError, UnknownVaultError
from network.graph import DuctNetwork
from network.lay import build_row
from network.mixed import OtherBundle
from network.reach import RowPulls
from routeio.survey import Duct
from tautline.errors import JobError
from tautline.job import Job
from tautline.job_other import StatedBundle
from tautline.job_table import nearest


@dataclass(frozen=True, eq=False)
class LaidBundles:
    """The bundles of a job on its route.

    Parameters
    ----------
    job : Job
        What was asked.
    spans : dict of frozenset of str to int
        Which other bundle goes between two neighbouring vaults, by the order in the job; the rest has the job's own.
    ducts : dict of str to int
        The same by ducts, which keep their names, or the beginnings of them, where new vaults part them.
    """

    job: Job
    spans: dict[frozenset[str | None], int]
    ducts: dict[str, int]

    @property
    def others(self) -> tuple[OtherBundle, ...]:
        """What the planner is told."""
        return tuple(
            OtherBundle(o.first, o.last, o.bundle, o.rules, o.reel, o.reels) for o in self.job.others
        )

    def number(self, duct: Duct) -> int | None:
        """Return which other bundle goes through a duct, by its place in the job; None: the job's own."""
        ends = frozenset((duct.start_vault, duct.end_vault))
        whole = duct.id.rpartition("/")[0]
        return self.spans.get(ends, self.ducts.get(duct.id, self.ducts.get(whole)))

    def bore(self, duct: Duct) -> Bore:
        """Return the bore of a duct for the bundle that goes through it; see :meth:`tautline.bores.Lining.bore`."""
        number = self.number(duct)
        lining = self.job.lining if number is None else self.job.others[number].lining
        return lining.bore(duct)

    def kind(self, duct: Duct) -> str | None:
        """Return the type of a duct; see :meth:`tautline.bores.Lining.kind`."""
        return self.job.lining.kind(duct.at(0))

    def along(self, route: FeederRoute, what: str) -> int | None:
        """Return which other bundle goes all along a route; None: the job's own.

        Parameters
        ----------
        route : FeederRoute
            From the feed to the pull vault.
        what : str
            What is asked for along it, for the message.

        Returns
        -------
        int or None
            Its place in the job.

        Raises
        ------
        JobError
            The bundle changes on the way.
        """
        numbers = [self.number(leg.duct) for leg in route.legs]
        for tag, (before, after) in zip(route.tags[1:-1], pairwise(numbers), strict=True):
            if before != after:
                name = self.job.file.name
                raise JobError(
                    name,
                    (
                        f"{what} from {route.tags[0]} to {route.tags[-1]} passes {tag}, where the bundle changes: no cable "
                        f"runs through there ({name}, [[other_bundle]])",
                    ),
                )
        return numbers[0]

    def pulls(self, route: FeederRoute, what: str) -> RowPulls:
        """Return the pulls of a route through which one bundle goes; see :meth:`along`."""
        number = self.along(route, what)
        owner = self.job if number is None else self.job.others[number]
        return RowPulls(build_row(route, self.bore, self.job.guides), owner.bundle, owner.rules)


def laid_bundles(job: Job, network: DuctNetwork, route: FeederRoute | None = None) -> LaidBundles:
    """Lay the job's other bundles along its feeder, or each the shortest way where no feeder is stated.

    Parameters
    ----------
    job : Job
        What was asked.
    network : DuctNetwork
        Vaults and ducts.
    route : FeederRoute, optional
        The feeder's way, where it is needed for anything else.

    Returns
    -------
    LaidBundles
        Checked: on the feeder, in its direction, none on top of another.

    Raises
    ------
    JobError
        With every fault.
    InputRefusedError
        Vaults that are not there, or that no ducts connect.
    """
    if not job.others:
        return LaidBundles(job, {}, {})
    for stated in job.others:
        for tag in (stated.first, stated.last):
            network.vault(tag)
    route = route or _feeder(job, network)
    if route is not None:
        faults = list(_faults(job, route))
        if faults:
            raise JobError(job.file.name, tuple(faults))
    spans: dict[frozenset[str | None], int] = {}
    ducts: dict[str, int] = {}
    for number, stated in enumerate(job.others):
        way = route or feeder_route(network, (stated.first, stated.last))
        low, high = way.tags.index(stated.first), way.tags.index(stated.last)
        for k in range(low, high):
            ends = frozenset(way.tags[k : k + 2])
            if spans.setdefault(ends, number) != number:
                raise JobError(job.file.name, (_overlap(job, job.others[spans[ends]], stated),))
            ducts[way.legs[k].duct.id] = number
    return LaidBundles(job, spans, ducts)


def _feeder(job: Job, network: DuctNetwork) -> FeederRoute | None:
    """The feeder's way; None where none is stated, or, in a check, where there is none."""
    try:
        return feeder_route(network, job.feeder) if job.feeder else None
    except (UnknownVaultError, NoRouteError, DoublesBackError):
        return None


def _faults(job: Job, route: FeederRoute) -> list[str]:
    """Say what stands against the other bundles along a feeder."""
    tags = route.tags
    whole = f"the feeder from {tags[0]} to {tags[-1]}"
    faults = []
    placed: list[tuple[int, int, StatedBundle]] = []
    for number, stated in enumerate(job.others, 1):
        place = f"({job.file.name}, [[other_bundle]])"
        lost = [t for t in (stated.first, stated.last) if t not in tags]
        for tag in lost:
            key = "from" if tag == stated.first else "to"
            faults.append(
                f'other_bundle[{number}].{key} names "{tag}", and {whole} does not pass it{nearest(tag, list(tags))}; '
                f"it passes {', '.join(tags)} {place}"
            )
        if lost:
            continue
        low, high = tags.index(stated.first), tags.index(stated.last)
        if low > high:
            faults.append(
                f"other_bundle[{number}] runs from {stated.first} to {stated.last}, and {whole} comes to {stated.last} "
                f'first: write from = "{stated.last}" and to = "{stated.first}" {place}'
            )
            continue
        placed.append((low, high, stated))
        for at in (low, high):
            vault = route.vaults[at]
            if 0 < at < len(tags) - 1 and (not vault.splice or vault.tag in job.plan.no_splice):
                who = job.source.name if not vault.splice else "[plan] no_splice"
                faults.append(
                    f"other_bundle[{number}]: the bundle changes at {vault.tag}, and {who} allows no splice there {place}"
                )
    placed.sort(key=lambda one: one[:2])
    faults += [
        _overlap(job, one, other) for (_, high, one), (low, _, other) in pairwise(placed) if low < high
    ]
    return faults


def _overlap(job: Job, one: StatedBundle, other: StatedBundle) -> str:
    return (
        f"two other bundles go through the same ducts: {one.first} to {one.last} and {other.first} to {other.last} "
        f"({job.file.name}, [[other_bundle]])"
    )

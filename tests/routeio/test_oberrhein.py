"""A real network nobody here drew: pandapower's 20 kV network mv_oberrhein, its lines and buses in degrees."""

import json

import numpy as np
import pytest
import shapely
from pyproj import Geod

from routeio.options import Selection

networks = pytest.importorskip("pandapower.networks", reason="pandapower is not installed")


@pytest.fixture(scope="module")
def network():
    return networks.mv_oberrhein()


@pytest.fixture
def read(network, layer, survey):
    def geometries(table):
        return [shapely.geometry.shape(json.loads(text)) for text in table.geo]

    layer(geometries(network.line), layer="lines", crs="EPSG:4326", kind="LineString",
          name=list(network.line.name), km=network.line.length_km.to_numpy())  # fmt: skip
    path = layer(geometries(network.bus), layer="buses", crs="EPSG:4326", kind="Point", append=True,
                 name=list(network.bus.name))  # fmt: skip
    return survey(
        path,
        ducts=Selection("lines", fields={"id": "name"}),
        vaults=Selection("buses", fields={"name": "name"}),
        sweep=1.0,
    )


def test_every_line_ends_at_the_buses_of_the_table(read, network):
    """Which buses a line joins is in the network's own table; only drawn geometry is read here."""
    buses = network.bus.name
    joined = {line.name: {buses[line.from_bus], buses[line.to_bus]} for line in network.line.itertuples()}
    # two pairs of buses stand on one spot each: their ends cannot be told apart
    twins = {"Bus 19", "Bus 38", "Bus 177", "Bus 178"}
    right = 0
    for duct in read.ducts:
        ends = {duct.start_vault, duct.end_vault}
        assert ends <= joined[duct.id] | {None}
        if None in ends:
            assert joined[duct.id] & twins
        else:
            right += 1
    assert len(read.ducts) == 181
    assert right >= 177


def test_quirks_are_findings(read, codes, said):
    assert "72.18 m (236.80 ft)" in said(read, "loose-end")[0]
    assert codes(read)["reprojected"] == 1
    assert codes(read)["vaults-coincide"] == 2
    mixed = said(read, "directions-mixed")[0].split()
    assert 0.3 < int(mixed[0]) / int(mixed[2]) < 0.6


def test_lengths_are_those_on_the_ellipsoid(read, network):
    geod = Geod(ellps="WGS84")
    true = {
        line.name: geod.geometry_length(shapely.geometry.shape(json.loads(line.geo)))
        for line in network.line.itertuples()
    }
    for duct in read.ducts:  # the zone's scale is 0.9997 here
        drawn = np.hypot(*np.diff(duct.vertices[:, :2], axis=0).T).sum()
        assert drawn == pytest.approx(true[duct.id], rel=5e-4)

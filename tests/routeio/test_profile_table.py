"""Profile tables: what is read as which station and elevation, what is refused, and which duct a row finds."""

import numpy as np
import pytest
from shapely import LineString, Point

from routeio.findings import InputRefusedError, Where
from routeio.levels import Along, Stretches
from routeio.options import Selection
from routeio.profile_table import read_profile, stated_profile


@pytest.fixture
def table(tmp_path):
    def write(text, **options):
        path = tmp_path / "profile.csv"
        path.write_bytes(text.encode(options.pop("encoding", "utf-8")))
        return read_profile(path, **options)

    return write


def levels(table):
    return [[(round(x.station, 4), round(x.elevation, 4), x.vault) for x in run] for run in table.runs]


@pytest.mark.parametrize(
    ("text", "units"),
    [
        ("station,elevation,vault\n0,100,A\n10,101.5,\n20,103,B\n", "m"),
        ("Station [m];Elevation [m];Vault\n0;100;A\n10;101.5;\n20;103;B\n", None),
        ("vault\tSTA (m)\tz_m\nA\t0\t100\n\t10\t101.5\nB\t20\t103\n", None),
        ("MH,Sta. (m),El. [m]\nA,0,100\n,10,101.5\nB,20,103\n", None),
        ("\n\ufeffstation,elevation,vault,remark\n0 m,100 m,A,x\n10 m,101.5 m,,\n,,,\n20 m,103 m,B,y\n"[1:], None),
    ],
)  # fmt: skip
def test_the_same_table_however_it_is_written(table, text, units):
    read = table(text, units=units)
    assert levels(read) == [[(0.0, 100.0, "A"), (10.0, 101.5, ""), (20.0, 103.0, "B")]]
    assert len(read.sha256) == 64


def test_units_of_each_column_and_stations_by_the_hundred_or_thousand(table):
    """One foot is 0.3048 m, one survey foot 1200/3937 m; 12+50 ft is 1,250 ft and 1+250 m is 1,250 m."""
    read = table("station [us survey foot],elevation [ft],vault\n0+00,100,A\n12+50.00,110,B\n")
    assert read.runs[0][1].station == pytest.approx(1250 * 1200 / 3937)
    assert read.runs[0][1].elevation == pytest.approx(33.528)
    read = table("station [m],elevation [m],vault\n0+000,100,A\n1+250,110,B\n")
    assert read.runs[0][1].station == 1250.0
    read = stated_profile([("0+00 ft", "100 ft", "A"), ("12+50 ft", "110 ft", "B")], "job")
    assert read.runs[0][1].station == pytest.approx(1250 * 0.3048)


def test_stations_that_begin_anew_begin_another_run(table):
    read = table("station,elevation,vault\n0,1,A\n9,2,B\n0,2,B\n7,3,C\n", units="m")
    assert [[x.vault for x in run] for run in read.runs] == [["A", "B"], ["B", "C"]]


def test_a_job_states_rows():
    read = stated_profile(
        [("0 ft", "100 ft", "A"), ("100 ft 6 in", "101 ft"), ("200 ft", "102 ft", "B")], "job"
    )
    assert read.runs[0][1].station == pytest.approx(30.6324)


def test_what_stands_for_none_is_none(table):
    read = table("station,elevation,vault\n0,100,A\n5,-9999,\n6,,\n10,101,B\n", units="m")
    assert np.isnan([x.elevation for x in read.runs[0][1:3]]).all()
    assert "-9999" in read.dropped[0]
    read = table("station,elevation,vault\n0,0,A\n5,0,\n10,0,B\n", units="m")
    assert np.isnan([x.elevation for x in read.runs[0]]).all()
    assert read.dropped


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("station,elevation\n0,1\n", "no column is headed vault"),
        ("station,elevation,vault\n0,1,A\n9,2,B\n", "without a unit"),
        ("station [furlongs],elevation [m],vault\n0,1,A\n9,2,B\n", "must be a unit of length"),
        ("station [m],elevation [m],vault\n", "no rows"),
        ("station [m],elevation [m],vault\n0,1,A\nx,2,B\n", "row 3"),
        ("station [m],elevation [m],vault\n0,1,A\n,2,B\n", "row 3 has no station"),
        ("station [m];elevation [m];vault\n0;1,5;A\n9;2;B\n", "row 2"),
        ("station [m],elevation [m],vault\n0,1,A\n9,2,\n4,2,\n5,2,B\n", "row 4 is less"),
        ("station [m],elevation [m],vault\n0,1,A\n9,2,\n9,3,\n12,2,B\n", "same station"),
        ("station [m],elevation [m],vault\n0,1,\n9,2,B\n", "begin and end at a vault"),
        ("station [m],elevation [m],vault\n0,1e400,A\n9,2,B\n", "elevation in row 2"),
        ("station [m],station [m],elevation [m],vault\n0,0,1,A\n", "two columns"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_row(table, text, words):
    with pytest.raises(InputRefusedError, match=words):
        table(text)


def test_another_encoding_and_no_file_are_refused(table, tmp_path):
    with pytest.raises(InputRefusedError, match="UTF-8"):
        table("station,elevation,vault\n0,1,Schächt\n", encoding="latin-1")
    with pytest.raises(InputRefusedError, match="no file"):
        read_profile(tmp_path / "none.csv")


ROWS = [
    ("0 m", "10 m", "A"),
    ("40 m", "12 m"),
    ("100 m", "9 m", "B"),
    ("150 m", "9.5 m"),
    ("200 m", "9 m", "C"),
]


def test_a_row_finds_its_duct_either_way_round():
    """A duct of 90 m whose mouths are 5 m from the middles of vaults 100 m apart."""
    stretches = Stretches(stated_profile(ROWS, "job"))
    there = stretches.along("A", "B", 90.0, (5.0, 5.0), Where())
    back = stretches.along("B", "A", 90.0, (5.0, 5.0), Where())
    assert isinstance(there, Along)
    assert isinstance(back, Along)
    assert there.station.tolist() == pytest.approx([0.0, 35.0, 90.0])
    # from 10 m to 12 m in 40 m, and down to 9 m in 60 m
    assert there.z.tolist() == pytest.approx([10.25, 12.0, 9.25])
    assert back.station.tolist() == pytest.approx([0.0, 55.0, 90.0])
    assert back.z.tolist() == pytest.approx(there.z[::-1].tolist())
    assert there.findings == ()
    assert stretches.along("A", "C", 200.0, (0.0, 0.0), Where()) is None


def test_a_length_that_differs_is_said_and_stations_are_stretched():
    along = Stretches(stated_profile(ROWS, "job")).along("A", "B", 120.0, (0.0, 0.0), Where())
    assert isinstance(along, Along)
    assert along.station.tolist() == pytest.approx([0.0, 48.0, 120.0])
    assert [f.code for f in along.findings] == ["profile-length-differs"]


@pytest.fixture
def route(layer, survey):
    """Vaults A, B and C 100 m apart, ducts between them; with z on the second where asked for."""

    def read(profile, z=None, inverts=("", "", "")):
        second = [(100, 0), (200, 0)] if z is None else [(100, 0, z), (200, 0, z)]
        layer([LineString([(0, 0), (100, 0)]), LineString(second)], name=["1", "2"])
        path = layer([Point(0, 0), Point(100, 0), Point(200, 0)], layer="vaults", append=True, kind="Point",
                     tag=["A", "B", "C"], inv=list(inverts))  # fmt: skip
        return survey(path, ducts="ducts", vaults=Selection("vaults", fields={"name": "tag", "invert": "inv"}),
                      profile=profile)  # fmt: skip

    return read


def test_ducts_are_laid_by_the_profile(route, codes, said):
    read = route(stated_profile(ROWS, "levels.csv"))
    first, second = read.ducts
    assert [d.elevation_from for d in read.ducts] == ["profile", "profile"]
    rise = first.chain.length * np.sin(0.5 * (first.chain.grade_in + first.chain.grade_out))
    assert rise.sum() == pytest.approx(-1.0, abs=0.01)
    # 2 in 40, then -3 in 60
    assert np.tan(first.chain.grade_in[0]) == pytest.approx(0.05, abs=1e-6)
    assert np.tan(first.chain.grade_out[-1]) == pytest.approx(-0.05, abs=1e-6)
    assert second.start[2] == pytest.approx(9.0)
    assert codes(read)["grade-from-profile"] == 2
    assert "elevation-none" not in codes(read)
    assert said(read, "elevation-sources") == ["elevations: 2 ducts from a profile table (levels.csv)"]


def test_the_profile_rules_and_says_what_it_overrules(route, codes, said):
    read = route(stated_profile(ROWS, "levels.csv"), z=30.0, inverts=("10", "", "9.9"))
    assert codes(read)["profile-rules"] == 1
    assert "30.00 m" in said(read, "profile-rules")[0]
    assert "9.90 m" in said(read, "profile-against-invert")[0]
    (off,) = [f for f in read.findings if f.code == "profile-against-invert"]  # the invert of A agrees
    assert (off.where.x, off.where.y) == (200.0, 0.0)  # at C, where the two differ
    assert read.ducts[1].start[2] == pytest.approx(9.0)


def test_what_the_profile_does_not_reach_is_flat_and_said(route, codes, said):
    read = route(
        stated_profile([("0 m", "10 m", "A"), ("100 m", "9 m", "B"), ("200 m", "8 m", "X")], "levels.csv")
    )
    assert [d.elevation_from for d in read.ducts] == ["profile", ""]
    assert "X" in said(read, "profile-no-vault")[0]
    assert "1 of 2 ducts have no elevations" in said(read, "elevation-none")[0]
    read = route(
        stated_profile([("0 m", "10 m", "A"), ("100 m", "9 m", "B"), ("200 m", "-9999 m", "C")], "levels.csv")
    )
    assert codes(read)["profile-short"] == codes(read)["profile-level-dropped"] == 1
    read = route(
        stated_profile([("0 m", "10 m", "A"), ("100 m", "9 m", "B"), ("190 m", "8 m", "A")], "levels.csv")
    )
    assert codes(read)["profile-repeated"] == 1
    assert read.ducts[0].start[2] == pytest.approx(10.0)


def test_a_profile_that_fits_nothing_is_refused(route):
    with pytest.raises(InputRefusedError, match="no stretch"):
        route(stated_profile([("0 m", "10 m", "A"), ("200 m", "8 m", "C")], "levels.csv"))


def test_a_profile_in_the_wrong_unit_is_doubtful(route, codes):
    rows = [("0 m", "10 m", "A"), ("100 m", "190 m", "B"), ("200 m", "9 m", "C")]
    assert codes(route(stated_profile(rows, "levels.csv")))["profile-doubtful"] == 2

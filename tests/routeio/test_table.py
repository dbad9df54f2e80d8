"""Bend schedules: rows as written become segments, and what cannot be used is told row by row."""

import math
import zipfile

import numpy as np
import openpyxl
import pytest

from mechanics.errors import DomainError
from routeio.findings import InputRefusedError
from routeio.table_columns import Column, measured

HEAD = "kind,tag,length [ft],angle [deg],radius [ft],direction,offset [ft],elevation [ft],size,type"
FT = 0.3048


@pytest.fixture
def table(tmp_path):
    def write(*rows, head=HEAD, end=True, name="span.csv", encoding="utf-8"):
        path = tmp_path / name
        path.write_bytes("\n".join([head, *rows, *(["end"] if end else [])]).encode(encoding) + b"\n")
        return path

    return write


@pytest.fixture
def book(tmp_path):
    def write(*rows, merged=None, name="span.xlsx"):
        made = openpyxl.Workbook()
        for row in (HEAD.split(","), *rows, ["end"]):
            made.active.append(row)
        if merged:
            made.active.merge_cells(merged)
        path = tmp_path / name
        made.save(path)
        return path

    return write


def refusal(read, path, **options):
    with pytest.raises(InputRefusedError) as refused:
        read(path, **options)
    assert refused.value.remedy
    return refused.value


def test_a_span_is_what_its_rows_say(survey, table):
    path = table("vault,A,,,,,,,5,PVC 40", "straight,,120", "bend,,,90,12.5,left", "straight,,30", "vault,B")
    found = survey(path)
    (duct,) = found.ducts
    # the quarter circle by hand: 120 + 12.5 pi/2 + 30 ft, ending at (120 + 12.5, 12.5 + 30) ft
    assert duct.chain.total_length / FT == pytest.approx(120 + 12.5 * math.pi / 2 + 30, abs=1e-9)
    assert duct.chain.turn.tolist() == pytest.approx([0, math.pi / 2, 0])
    b = next(v for v in found.vaults if v.tag == "B")
    assert (b.x / FT, b.y / FT) == pytest.approx((132.5, 42.5))
    assert (duct.start_vault, duct.end_vault) == ("A", "B")
    assert (duct.fields.size, duct.fields.type) == ("5", "PVC 40")
    assert {o.how for o in duct.origins} == {"stated"}
    assert not duct.elevated
    assert found.ground.unit == "ft"


def test_a_rise_reaches_its_height(survey, table):
    rows = ["rise,,,22.5,12.5,,3", "drop,,40,,12.5,,2", "rise,,,,12.5,,1", "offset,,,30,4,left,5"]
    found = survey(table("vault,A,,,,,,100", "straight,,10", *rows, "straight,,10", "vault,B"))
    (duct,) = found.ducts
    assert duct.elevated
    assert (duct.end[2] - duct.start[2]) / FT == pytest.approx(3 - 2 + 1, abs=1e-9)
    assert duct.start[2] / FT == pytest.approx(100)
    b = next(v for v in found.vaults if v.tag == "B")
    assert b.y / FT == pytest.approx(5, abs=1e-9)
    # the drop takes 40 ft along the duct, as stated
    where = [o.id == "row 5" for o in duct.origins]
    assert duct.chain.length[where].sum() / FT == pytest.approx(40, abs=1e-6)
    # a rise of 3 ft by two bends of 22.5 degrees and 12.5 ft radius: s = (h - 2R(1 - cos a)) / sin a between them
    a = math.radians(22.5)
    between = (3 - 25 * (1 - math.cos(a))) / math.sin(a)
    where = [o.id == "row 4" for o in duct.origins]
    assert duct.chain.length[where].sum() / FT == pytest.approx(25 * a + between, abs=1e-9)
    assert duct.chain.grade_out[-1] == pytest.approx(0.0, abs=1e-12)


def test_an_upright_riser(survey, table):
    found = survey(table("vault,A", "straight,,50", "bend,,,90,3,up", "straight,,20", "vault,POLE"))
    (duct,) = found.ducts
    assert duct.end[2] / FT == pytest.approx(23)
    assert duct.chain.grade_out[-1] == pytest.approx(math.pi / 2)


def test_size_changes_by_row_and_holds(survey, table):
    path = table(
        "vault,A,,,,,,,5,PVC 40", "straight,,100", "straight,,50,,,,,,4,PVC 40", "straight,,9", "vault,B"
    )
    (duct,) = survey(path).ducts
    assert [(p.stop, p.fields.size) for p in duct.parts] == [(1, "5"), (3, "4")]


def test_a_route_that_comes_back_over_its_vaults_is_not_tied_to_them(survey, table):
    # a square: the fourth side ends where the first vault stands
    side = ["straight,,100", "bend,,,90,10,left"]
    found = survey(table("vault,A", *side, *side, "vault,B", *side, *side, "vault,C"))
    assert [(d.start_vault, d.end_vault) for d in found.ducts] == [("A", "B"), ("B", "C")]


def test_a_turn_inside_a_vault(survey, table):
    found = survey(table("vault,A", "straight,,100", "vault,B,,90,,right", "straight,,100", "vault,C"))
    c = next(v for v in found.vaults if v.tag == "C")
    assert (c.x / FT, c.y / FT) == pytest.approx((100, -100))


def test_units_in_cells_and_feet_and_inches(survey, table):
    head = "Item;Vault;Length;Angle;Bend radius;Side"
    path = table(
        "vault;A",
        "straight;;120 ft 6 in",
        "elbow;;;45°;3,81 m;left",
        "manhole;B",
        head=head,
        name="cells.csv",
    )
    (duct,) = survey(path).ducts
    assert duct.chain.length.tolist() == pytest.approx([120.5 * FT, 3.81 * math.pi / 4])


@pytest.mark.parametrize(
    ("written", "degrees"),
    [
        ("22 1/2", 22.5),
        ("22-1/2", 22.5),
        ("22½", 22.5),
        ("11 ¼", 11.25),
        ("11 1/4 deg", 11.25),
        ("5/8", 0.625),
    ],
)
def test_angles_as_the_trade_writes_them(survey, table, written, degrees):
    (duct,) = survey(table("vault,A", "straight,,10", f"bend,,,{written},12.5,left", "vault,B")).ducts
    assert np.degrees(duct.chain.turn[-1]) == pytest.approx(degrees)


@pytest.mark.parametrize(
    ("written", "turn", "rise"),
    [("L", 1, 0), ("Lt.", 1, 0), ("r", -1, 0), ("RH", -1, 0), ("Right", -1, 0), ("U", 0, 1), ("Dn", 0, -1)],
)
def test_directions_as_the_trade_writes_them(survey, table, written, turn, rise):
    (duct,) = survey(table("vault,A", "straight,,10", f"bend,,,10,12.5,{written}", "vault,B")).ducts
    assert (np.sign(duct.chain.turn[-1]), np.sign(duct.chain.grade_out[-1])) == (turn, rise)


def test_semicolons_with_decimal_commas(survey, table):
    head = HEAD.replace(",", ";").replace("ft", "m")
    (duct,) = survey(table("vault;A", "straight;;36,5", "vault;B", head=head)).ducts
    assert duct.chain.total_length == pytest.approx(36.5)


@pytest.mark.parametrize(
    ("rows", "row", "word"),
    [
        (["straigth,,120"], 3, "perhaps 'straight'"),
        ([",,120"], 3, "kind is empty"),
        (["bend,,,45,,left"], 3, "no radius"),
        (["bend,,,45,12.5"], 3, "left, right, up or down"),
        (["bend,,,,12.5,left"], 3, "no angle"),
        (["straight"], 3, "no length"),
        (["straight,,-5"], 3, "above 0"),
        (["straight,,nan"], 3, "must be a number with a unit"),
        (["straight,,120 lb"], 3, "units accepted"),
        (["straight,,120 m"], 3, "another unit than its heading"),
        (['straight,,"1,200"'], 3, "holds a comma"),
        (["straight,,1,2,3,left,4,5,6,7,8"], 3, "more cells than headings"),
        (["straight,,100", "vault,A"], 4, "stands in row 2 already"),
        (["vault,B"], 3, "no duct leads"),
        (["straight,,100", "vault"], 4, "has no tag"),
        (["bend,,,120,3,up"], 3, "beyond upright"),
        (["rise,,,22.5,12.5,,0.5"], 3, "more than stated"),
        (["rise,,2,,12.5,,3"], 3, "cannot shift"),
        (["bend,,50,90,12.5,left"], 3, "leave one of the three out"),
        (["straight,,100"], 4, "ends at no vault"),
    ],
)
def test_a_faulty_row_is_named_with_what_would_be_right(raw, table, rows, row, word):
    close = [] if "no vault" in word else ["straight,,10", "vault,Z"]
    refused = refusal(raw, table("vault,A", *rows, *close))
    assert refused.code == "table-unreadable"
    assert f"row {row}" in str(refused)
    assert word in str(refused)


def test_every_faulty_row_is_told_at_once(raw, table):
    refused = refusal(raw, table("vault,A", "bend,,,45,,left", "strait,,5", "vault,B"))
    assert "2 faults" in str(refused)
    assert "row 3" in str(refused)
    assert "row 4" in str(refused)


def test_a_bare_number_under_a_heading_without_unit(raw, table):
    refused = refusal(raw, table("vault,A", "straight,,120", "vault,B", head="kind,tag,length"))
    assert "has no unit" in str(refused)
    assert "length [ft]" in str(refused)


def test_a_comma_that_may_be_thousands_or_decimals(raw, table):
    refused = refusal(raw, table("vault;A", "straight;;1,200", "vault;B", head=HEAD.replace(",", ";")))
    assert "thousands or decimals" in str(refused)


def test_columns_parted_by_something_else(raw, table):
    refused = refusal(raw, table("vault|A", head=HEAD.replace(",", "|")))
    assert "parted by something else" in str(refused)


def test_headings_that_are_none(raw, table):
    assert "headings" in str(refusal(raw, table("vault,A", head="a,b,c")))
    assert "no unit of length" in str(refusal(raw, table("vault,A", head="kind,tag,length [kg]")))
    assert "mean the same" in str(refusal(raw, table("vault,A", head="kind,tag,vault,length [ft]")))


def test_encodings(raw, table):
    rows = ("vault,MÜH-1", "straight,,120", "bend,,,45°,12.5,left", "vault,B")
    assert raw(table(*rows, encoding="utf-8-sig")).vaults[0].tag == "MÜH-1"
    old = table(*rows, encoding="cp1252")
    refused = refusal(raw, old)
    assert refused.code == "unknown-encoding"
    assert "row 2" in str(refused)
    assert "cp1252" in refused.remedy
    assert raw(old, encoding="cp1252").vaults[0].tag == "MÜH-1"
    assert refusal(raw, old, encoding="klingon").code == "unknown-encoding"


def test_every_cut_is_refused_or_flagged(raw, table, codes):
    path = table("vault,A", "straight,,120", "vault,B", "straight,,8", "vault,C", head="kind,tag,length [ft]")
    whole = path.read_bytes()
    for size in range(1, len(whole) - 1, 2):
        path.write_bytes(whole[:size])
        try:
            found = raw(path)
        except InputRefusedError:
            continue
        assert "no-end-row" in codes(found), size
    path.write_bytes(whole)
    assert "no-end-row" not in codes(raw(path))


def test_rows_below_the_end_and_a_sum_that_differs(raw, table, codes):
    rows = ("vault,A", "straight,,120", "vault,B")
    assert "below the row end" in str(refusal(raw, table(*rows, "end", "straight,,5", end=False)))
    assert "length-differs" in codes(raw(table(*rows, "end,,130", end=False)))
    assert "length-differs" not in codes(raw(table(*rows, "end,,120", end=False)))


def test_elevations_at_vaults(survey, table, codes, said):
    found = survey(table("vault,A,,,,,,100", "straight,,200", "vault,B,,,,,,98"))
    (duct,) = found.ducts
    # no row rises, so the duct lies at the even grade between its inverts
    assert duct.end[2] - duct.start[2] == pytest.approx(-2 * FT)
    assert codes(found)["grade-from-inverts"] == 1
    found = survey(table("vault,A,,,,,,100", "rise,,,22.5,12.5,,3", "vault,B,,,,,,98"))
    assert codes(found)["levels-differ"] == 1
    assert "line-against-invert" not in codes(found)
    assert found.ducts[0].elevation_from == "schedule"
    assert said(found, "elevation-sources") == [
        "elevations: 1 duct from rises and falls of the bend schedule"
    ]


def test_empty_rows_comments_and_unread_columns(raw, table, codes):
    path = table(
        "# a note, with a comma",
        "",
        "vault,A",
        ",,,,",
        "straight,,120,,,,,,,,mine",
        "vault,B",
        head=HEAD + ",by",
    )
    found = raw(path)
    assert found.counts == {
        "read heading": 1, "skipped comment": 1, "skipped empty row": 2, "read vault": 2, "read straight": 1, "read end": 1,
    }  # fmt: skip
    assert codes(found)["column-unread"] == 1


def test_a_workbook_reads_as_the_same_table(survey, book, table):
    rows = [["vault", "A", None, None, None, None, None, None, 5, "PVC 40"], ["straight", None, 120],
            ["bend", None, None, 45, 12.5, "left"], ["vault", "B"]]  # fmt: skip
    text = [",".join("" if v is None else str(v) for v in row) for row in rows]
    (one,), (other,) = survey(book(*rows)).ducts, survey(table(*text)).ducts
    assert one.chain.length.tolist() == other.chain.length.tolist()
    assert one.fields == other.fields


def test_formulas_and_merged_cells_are_refused_by_row(raw, book):
    refused = refusal(raw, book(["vault", "A"], ["straight", None, "=100+20"], ["vault", "B"]))
    assert "row 3, column C: holds the formula '=100+20'" in str(refused)
    refused = refusal(raw, book(["vault", "A"], ["straight", None, 120], ["vault", "B"], merged="C3:D3"))
    assert "row 3: cells C3:D3 are merged" in str(refused)


def test_formulas_beside_the_schedule_and_of_its_sum_do_not_stop_it(raw, book, codes):
    rows = [
        ["vault", "A"],
        ["straight", None, 120, *[None] * 9, "=C3*2"],
        ["vault", "B"],
        ["end", None, "=SUM(C2:C4)"],
    ]
    path = book(*rows)
    made = openpyxl.load_workbook(path)
    made.active.delete_rows(6)  # the row end that the fixture writes
    made.active["M9"] = "=SUM(M2:M4)"
    made.save(path)
    read = raw(path)
    assert [round(sum(span.length) / FT, 6) for span in read.spans] == [120.0]
    assert codes(read) == {"column-unread": 1, "sum-unread": 1}


def test_a_number_written_as_text_in_a_workbook_is_asked_about_where_it_may_be_either(raw, survey, book):
    refused = refusal(raw, book(["vault", "A"], ["straight", None, "1.200"], ["vault", "B"]))
    assert "row 3: length [ft] '1.200' may be thousands or decimals; write 1200 or 1.2000" in str(refused)
    for written in (1.234, "1.2", "1.2345", "1200", "12.5 ft"):
        (duct,) = survey(book(["vault", "A"], ["straight", None, written], ["vault", "B"])).ducts
        assert duct.chain.total_length == pytest.approx(float(str(written).removesuffix(" ft")) * FT)


def test_a_workbook_cut_short_and_another_sheet(raw, book, tmp_path):
    path = book(["vault", "A"], ["straight", None, 120], ["vault", "B"])
    whole = path.read_bytes()
    for part in (0.2, 0.5, 0.9, 0.999):
        path.write_bytes(whole[: int(len(whole) * part)])
        assert refusal(raw, path).code == "table-damaged"
    made = openpyxl.load_workbook(book(["vault", "A"], ["straight", None, 120], ["vault", "B"]))
    made.create_sheet("notes").append(["who", "when"])
    made.save(path)
    found = raw(path)
    assert found.counts["skipped row of another sheet"] == 1
    assert sum(found.counts.values()) == sum(sum(kinds.values()) for kinds in found.layers.values())
    made.copy_worksheet(made.worksheets[0])
    made.save(path)
    refused = refusal(raw, path)
    assert refused.code == "no-layer-chosen"
    assert raw(path, ducts="Sheet").spans


def test_a_point_for_thousands_is_asked_about_where_commas_are_decimal():
    column = Column("length", 1, "ft", "length [ft]")
    assert measured("12,5", column, True) == pytest.approx(12.5 * 0.3048)
    assert measured("1.25", column, True) == pytest.approx(1.25 * 0.3048)
    for text in ("1.200", "21.500 ft"):
        with pytest.raises(DomainError, match="may be thousands or decimals"):
            measured(text, column, True)
    assert measured("1.200", column, False) == pytest.approx(1.2 * 0.3048)


def test_a_workbook_packed_in_another_way_is_refused_before_it_is_unpacked(book, survey, tmp_path):
    good = book(["straight", "", 100])
    packed = tmp_path / "packed.xlsx"
    with zipfile.ZipFile(good) as was, zipfile.ZipFile(packed, "w", zipfile.ZIP_LZMA) as archive:
        for name in was.namelist():
            archive.writestr(name, was.read(name))
    with pytest.raises(InputRefusedError, match="packed in a way that no workbook is"):
        survey(packed)


def test_a_workbook_with_a_part_larger_than_itself_is_refused_before_it_is_unpacked(book, survey):
    path = book(["straight", "", 100])
    data = bytearray(path.read_bytes())
    entry = data.index(b"PK\x01\x02")  # of the directory at the end: the size packed stands 20 bytes in
    data[entry + 20 : entry + 24] = (2_000_000_000).to_bytes(4, "little")
    path.write_bytes(data)
    with pytest.raises(InputRefusedError, match="of a part that it is larger than the file"):
        survey(path)

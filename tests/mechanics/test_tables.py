"""Tables of a user's own, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from mechanics.errors import DomainError
from mechanics.tables import Tables, built_in, friction_default, inside_diameter, least_temperature

HEAD = "type,trade_size,inside_diameter,source\n"


def test_a_folder_adds_and_replaces_rows(tmp_path: Path) -> None:
    (tmp_path / "ducts.csv").write_text(
        HEAD + "Clay tile,3 1/2,88 mm,measured on site\npvc 40,5 in,125 mm,measured on site\n", "utf-8"
    )
    mine = Tables(tmp_path)
    assert inside_diameter("3.5", "clay TILE", mine) == 0.088
    assert inside_diameter("5", "PVC 40", mine) == 0.125
    assert mine.find("ducts", "PVC 40", "5").source == "measured on site"
    assert inside_diameter("4", "PVC 40", mine) == inside_diameter("4", "PVC 40")
    assert inside_diameter("5", "PVC 40") == pytest.approx(
        5.016 * 0.0254
    )  # the built-in ones stay as they are
    assert mine.extended == (str(tmp_path / "ducts.csv"),)


def test_a_folder_that_there_is_not(tmp_path: Path) -> None:
    with pytest.raises(DomainError, match="folder must be a folder that there is"):
        Tables(tmp_path / "none")


def test_a_folder_without_tables_changes_nothing(tmp_path: Path) -> None:
    assert Tables(tmp_path).extended == ()
    assert list(Tables(tmp_path).rows("ducts")) == list(built_in().rows("ducts"))


def test_a_jam_band_turned_about_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "limits.csv"
    file.write_text("name,value,kind,source\njam_low,3.3,,own practice\n", "utf-8")
    with pytest.raises(DomainError, match=r"line 2: jam_low must be below jam_high, got 3.3 and 3.2"):
        Tables(tmp_path)
    file.write_text(file.read_text("utf-8") + "jam_high,3.5,,own practice\n", "utf-8")
    assert Tables(tmp_path).find("limits", "jam_high").number("value") == 3.5


def test_columns_may_stand_in_any_order_after_a_byte_order_mark(tmp_path: Path) -> None:
    (tmp_path / "sidewall.csv").write_bytes(
        "source,pressure,construction\nits data sheet,1000 lbf/ft,special\n\n".encode("utf-8-sig")
    )
    assert Tables(tmp_path).find("sidewall", "Special").number("pressure") == pytest.approx(14593.9, abs=0.1)


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        (
            "ducts",
            HEAD + "clay,4,100,measured\n",
            r"ducts\.csv, line 2, inside_diameter must be a number with a unit",
        ),
        ("ducts", HEAD + "clay,4,-100 mm,measured\n", r"line 2, inside_diameter must be above 0"),
        (
            "limits",
            "name,value,kind,source\npuling_eye,20 kN,force,stamped\n",
            r"line 2, name must be one of pulling_eye, .*, got 'puling_eye'",
        ),
        (
            "limits",
            "name,value,kind,source\npulling_eye,20 mm,length,stamped\n",
            r"line 2, kind of pulling_eye must be force, got 'length'",
        ),
        ("ducts", HEAD + "clay,4,0 mm,measured\n", r"line 2, inside_diameter must be above 0"),
        ("ducts", HEAD + "clay,4,nan mm,measured\n", r"line 2, inside_diameter must be a number"),
        ("ducts", HEAD + "clay,4,9**9**9 mm,measured\n", r"line 2, inside_diameter must be a number"),
        ("ducts", HEAD + "clay,4,100 mm,\n", r"line 2: source must say"),
        ("ducts", HEAD + "clay,4,100 mm\n", r"line 2 must have 4 cells, got 3"),
        ("ducts", HEAD + "clay,4,100 mm,a\nClay,4 in,101 mm,b\n", r"line 3 says again what .*line 2 says"),
        ("ducts", "type,size,inside_diameter,source\n", r"must have the columns type, trade_size"),
        ("ducts", "", r"must have the columns"),
        ("ducts", HEAD + '"clay,4,100 mm,measured\n', r"line \d: "),
        (
            "friction",
            "jacket,duct,lubricated,dry,source\nPE,PVC,low,0.4,x\n",
            r"line 2, lubricated must be a number",
        ),
        (
            "friction",
            "jacket,duct,lubricated,dry,source\nPE,PVC,inf,0.4,x\n",
            r"line 2, lubricated must be finite",
        ),
        ("limits", "name,value,kind,source\njam_low,2,girth,x\n", r"kind must be one of"),
    ],
)
def test_a_bad_table_is_refused_by_file_line_and_column(
    tmp_path: Path, name: str, text: str, message: str
) -> None:
    (tmp_path / f"{name}.csv").write_text(text, "utf-8")
    with pytest.raises(DomainError, match=message):
        Tables(tmp_path)


def test_files_that_are_no_text(tmp_path: Path) -> None:
    (tmp_path / "ducts.csv").write_bytes(b"type\xff\xfe")
    with pytest.raises(DomainError, match="must be saved as UTF-8; byte 4"):
        Tables(tmp_path)
    (tmp_path / "ducts.csv").write_bytes(b"x" * 1_000_001)
    with pytest.raises(DomainError, match="must be a table of at most"):
        Tables(tmp_path)


@pytest.mark.parametrize(
    ("size", "kind", "message"),
    [
        ("7", "PVC 40", "trade_size of PVC 40 must be one of 1, 1 1/4, .*, got '7'"),
        ("", "PVC 40", "trade_size of PVC 40 must be one of"),
        ("1/0", "PVC 40", "trade_size of PVC 40 must be one of"),
        ("5", "clay", "type must be one of PVC 40, .*, got 'clay'"),
        ("5", "", "type must be one of"),
    ],
)
def test_unknown_ducts_name_what_there_is(size: str, kind: str, message: str) -> None:
    with pytest.raises(DomainError, match=message):
        inside_diameter(size, kind)


def test_names_are_read_as_people_write_them() -> None:
    for size in ("2 1/2", "2-1/2", '2 1/2"', "2.5", "2.50 in", "2-1/2 inch"):
        for kind in ("PVC 40", "pvc40", "PVC Sch. 40", "PVC schedule 40", "PVC SCH40"):
            assert inside_diameter(size, kind) == pytest.approx(2.445 * 0.0254)


def test_wrong_questions() -> None:
    with pytest.raises(DomainError, match="table must be one of"):
        built_in().find("girths", "x")
    row = built_in().find("ducts", "PVC 40", "5")
    with pytest.raises(DomainError, match="column must hold numbers"):
        row.number("type")
    with pytest.raises(DomainError, match="column must hold text"):
        row.text("inside_diameter")


def test_friction_where_the_table_says_nothing_takes_the_highest_and_says_so() -> None:
    highest = max(row.number("lubricated") for row in built_in().rows("friction"))
    for jacket in ("", "sailcloth"):
        assert friction_default(jacket, "PVC 40")[0] == highest
    assert "'sailcloth' is not in the table" in friction_default("sailcloth", "PVC 40")[2]
    known = [row for row in built_in().rows("friction") if row.key[0] == "PVC"]
    lubricated, dry, source = friction_default("PVC", "clay tile")
    assert (lubricated, dry) == (
        max(r.number("lubricated") for r in known),
        max(r.number("dry") for r in known),
    )
    assert "'clay tile' is not in the table" in source
    assert "not stated" in friction_default("PVC", "")[2]


def test_jackets_by_their_usual_names() -> None:
    for name in ("PE", "MDPE", "polyethylene", "XLPE"):
        assert friction_default(name, "rigid steel")[0] == 0.25
    assert least_temperature("")[0] == max(row.number("least") for row in built_in().rows("temperature"))

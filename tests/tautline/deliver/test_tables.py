import csv

import openpyxl
import pytest

from tautline.deliver import tables
from tautline.deliver.workbook import write as write_workbook

FORMULA = '=HYPERLINK("a","b")'


def workbook(document, folder):
    write_workbook(document, folder / "result.xlsx")
    return openpyxl.load_workbook(folder / "result.xlsx")


def column(sheet, heading):
    heads = [c.value for c in sheet[1]]
    return [row[heads.index(heading)].value for row in sheet.iter_rows(min_row=2)]


def test_every_document_makes_every_sheet(document, tmp_path):
    book = workbook(document, tmp_path)
    expected = [
        "Pulls",
        "Checks",
        "Vaults",
        "Reels",
        "Lubricant",
        "Materials",
        "Reasons",
        "Alternatives",
        "Findings",
        "Basis",
    ]
    assert book.sheetnames == expected
    for sheet in book:
        assert sheet.freeze_panes == "A2"
        assert all(c.data_type != "f" for row in sheet for c in row)


def test_numbers_are_numbers_in_the_units_of_the_heading(harbour, tmp_path):
    pulls = workbook(harbour, tmp_path)["Pulls"]
    # 19007.789 N / 4.4482216152605 and 569.9618 m / 0.3048, by hand
    assert column(pulls, "exit tension [lbf]")[0] == pytest.approx(4273.121, abs=1e-3)
    assert column(pulls, "length [ft]")[0] == pytest.approx(1869.9535, abs=1e-4)
    assert column(pulls, "utilisation [%]")[0] == pytest.approx(85.462, abs=1e-3)
    harbour["job"]["units"] = "si"
    pulls = workbook(harbour, tmp_path)["Pulls"]
    assert column(pulls, "exit tension [kN]")[0] == pytest.approx(19.007789, abs=1e-6)


def test_the_brake_has_its_unit_and_is_empty_where_the_document_has_none(harbour, tmp_path):
    harbour["sections"][0]["pulls"][0]["brake_tension_N"] = 4448.2216152605
    brake = column(workbook(harbour, tmp_path)["Pulls"], "brake for low friction [lbf]")
    assert brake[0] == pytest.approx(1000.0)  # NIST SP 811: a pound-force is 4.4482216152605 N
    assert brake[1:] == [None] * 4


def test_reasons_and_alternatives_have_their_sheets(argued, tmp_path):
    book = workbook(argued, tmp_path)
    assert column(book["Reasons"], "of") == ["splice", "section"]
    assert column(book["Reasons"], "why")[1] == "without it: no plan: too long"
    sheet = book["Alternatives"]
    assert column(sheet, "cost") == [40.0, 55.5]
    assert column(sheet, "worst utilisation [%]") == pytest.approx([90.0, 70.0])
    assert column(sheet, "the plan") == ["yes", "no"]
    assert column(sheet, "knee") == ["no", "yes"]


def test_each_cable_has_its_reel_and_materials_add_up(harbour, tmp_path):
    book = workbook(harbour, tmp_path)
    reels = column(book["Reels"], "length on the reel [ft]")
    assert len(reels) == 4 * 3
    materials = dict(
        zip(column(book["Materials"], "item"), book["Materials"].iter_rows(min_row=2), strict=True)
    )
    cable = materials["cable, 15 kV 500 kcmil copper: reels"]
    assert cable[1].value == 12
    assert cable[2].value == pytest.approx(sum(reels))
    assert materials["splices, one a cable"][1].value == 9


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_a_name_is_never_a_formula(harbour, tmp_path, start):
    tag = start + FORMULA[1:]
    harbour["sections"][0]["pulls"][0]["feed"] = tag
    harbour["vaults"][0]["tag"] = tag
    book = workbook(harbour, tmp_path)
    cell = book["Pulls"]["C2"]
    assert (cell.value, cell.data_type) == (tag, "s")
    for path in tables.write_csv(harbour, tmp_path / "tables"):
        with path.open(encoding="utf-8-sig", newline="") as file:
            for row in csv.reader(file):
                for text in row:
                    assert text[:1] not in ("=", "+", "@")
                    assert text[:1] != "-" or float(text) < 0
    with (tmp_path / "tables" / "vaults.csv").open(encoding="utf-8-sig", newline="") as file:
        assert list(csv.reader(file))[1][0] == "'" + tag


def test_csv_holds_what_the_workbook_holds(nasty, tmp_path):
    book = workbook(nasty, tmp_path)
    for path in tables.write_csv(nasty, tmp_path / "tables"):
        sheet = book[path.stem.capitalize()]
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.reader(file))
        assert rows[0] == [c.value for c in sheet[1]]
        assert len(rows) == sheet.max_row
        for plain, cells in zip(rows[1:], sheet.iter_rows(min_row=2), strict=True):
            for text, cell in zip(plain, cells, strict=True):
                if isinstance(cell.value, int | float):
                    assert float(text) == pytest.approx(cell.value)
                else:
                    assert text.removeprefix("'") == (cell.value or "").removeprefix("'")


def test_rows_are_as_high_as_their_text_and_figures_as_fine_as_they_need(harbour, tmp_path):
    harbour["findings"][0]["message"] = "a long story " * 30
    book = workbook(harbour, tmp_path)
    findings = book["Findings"]
    assert findings.row_dimensions[2].height >= 15 * (30 * 13 / 70)
    checks = book["Checks"]
    value = [c.value for c in checks[1]].index("value")
    shown = {row[value].value: row[value].number_format for row in checks.iter_rows(min_row=2)}
    shown.pop(None, None)
    for figure, form in shown.items():
        decimals = form.partition(".")[2].count("0")
        # four figures or more, whatever the size
        assert abs(round(figure, decimals) - figure) <= 0.5e-3 * abs(figure)
    places = book["Vaults"]
    heading = [c.value for c in places[1]].index("x, as in the source")
    assert places[2][heading].number_format == "0.000_ "

"""The PDFs are set once more as pictures or text, so that what is on the page can be seen."""

import shutil
import subprocess

import pytest

from tautline.deliver import crew, html, pdf, picture
from tautline.deliver.frame import Pull, pulls_of
from tautline.deliver.present import Units
from tautline.errors import OutputError

needs_reader = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext on this machine")


def pages(path):
    text = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    ).stdout
    return text.split("\f")[:-1]


def test_every_document_makes_a_report_and_crew_sheets(document, tmp_path):
    pdf.write_report(document, tmp_path / "report.pdf")
    pdf.write_crew(document, tmp_path / "crew.pdf")
    for name in ("report.pdf", "crew.pdf"):
        assert (tmp_path / name).read_bytes().startswith(b"%PDF-1.")


def test_the_same_document_gives_the_same_file(harbour, tmp_path):
    pdf.write_crew(harbour, tmp_path / "a.pdf")
    pdf.write_crew(harbour, tmp_path / "b.pdf")
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


@needs_reader
def test_one_page_a_pull_even_with_many_bends_and_long_names(made, tmp_path):
    S, B = made["straight"], made["bend"]
    spans = [[x for k in range(6) for x in (S(12), B(6, 40 if k % 2 else -35))] for _ in range(8)]
    tags = [f"Pumping station at the north gate, chamber {k:03d}" for k in range(9)]
    document = made["plan_document"](
        "Long", spans, tags, [(0, 8, [(0, 8, True, tags[1:8])])], start=(0.0, 0.0, 0.0)
    )
    document["cautions"] = document["cautions"] * 4
    pdf.write_crew(document, tmp_path / "crew.pdf")
    assert len(pages(tmp_path / "crew.pdf")) == 1


@needs_reader
def test_a_crew_sheet_says_what_the_crew_needs(harbour, tmp_path):
    pdf.write_crew(harbour, tmp_path / "crew.pdf")
    sheets = pages(tmp_path / "crew.pdf")
    assert len(sheets) == 5
    first, third, last = (" ".join(sheets[k].split()) for k in (0, 2, 4))
    # 1.1 x 4,273 lbf, under the limit of 5,000; reels of 1,900 ft; vault and bend with the tension there
    for part in (
        "MH-3 → SUB-A",
        "4,700 lbf",
        "3 x 1,900 ft",
        "1,266 MH-1: stop, re-lubricate 2,176",
        "7.0 gal",
    ):
        assert part in first, part
    assert "lay it out at MH-6 first" in third
    assert "hold back at least 112 lbf" in last


@needs_reader
def test_the_report_holds_checks_with_sources_and_names_as_text(nasty, tmp_path):
    pdf.write_report(nasty, tmp_path / "report.pdf")
    text = " ".join(" ".join(pages(tmp_path / "report.pdf")).split())
    assert "12 x diameter, shielded (NEC 300.34, from memory)" in text
    assert "<b>MH</b>" in text
    assert "Prepared by, date" in text


def test_markup_of_the_typesetter_in_a_name_stays_text(harbour, tmp_path):
    for name in ('#panic("x")', "$ x $", "= Head", "*bold* _it_ `raw`", '"]) #eval("1")', "\\"):
        harbour["job"]["name"] = name
        harbour["sections"][0]["pulls"][0]["feed"] = name
        pdf.write_report(harbour, tmp_path / "report.pdf")
        pdf.write_crew(harbour, tmp_path / "crew.pdf")


def sheet(document, number):
    return crew.sheet_of(document, pulls_of(document)[number - 1], Units.of(document))


def test_the_puller_is_never_set_above_the_cable_s_limit(harbour):
    pull = harbour["sections"][0]["pulls"][0]
    limit = pull["limits"]["max_tension_N"]
    pull["max_tension_N"] = 0.97 * limit
    assert sheet(harbour, 1)["limit"]["setting"] == "5,000 lbf"
    pull["max_tension_N"] = limit / 2
    assert sheet(harbour, 1)["limit"]["setting"] == "2,750 lbf"


def test_nobody_is_told_a_setting_for_a_pull_that_fails(failing):
    assert sheet(failing, 2)["limit"]["setting"] == "do not pull"
    assert sheet(failing, 2)["failing"]


def test_the_winch_s_own_reading_is_used_where_it_is_known(harbour):
    pull = harbour["sections"][0]["pulls"][0]
    profile = pull["profile"]
    assert sheet(harbour, 1)["reading"] == "Cable tension, lbf"
    profile["winch_N"] = [2 * t for t in profile["tension_N"]]
    pull["winch_tension_N"] = max(profile["winch_N"])
    made = sheet(harbour, 1)
    assert made["reading"] == "Winch should read, lbf"
    assert made["rows"][-1][2] == "8,546"
    assert "ask before you begin" in made["limit"]["note"]


def test_the_place_of_the_greatest_reading_is_a_row_of_its_own(harbour):
    pull = harbour["sections"][0]["pulls"][0]
    profile = pull["profile"]
    assert profile["station_m"][1] not in [s for s, _ in Pull(1, 1, pull).vaults]
    profile["winch_N"] = [2.0 * t for t in profile["tension_N"]]
    profile["winch_N"][1] = pull["winch_tension_N"] = 2.5 * max(profile["winch_N"])
    row = next(r for r in sheet(harbour, 1)["rows"] if r[1].startswith("greatest reading"))
    assert row[2] == Units.of(harbour).figure("force", pull["winch_tension_N"])
    assert "Winch reads at most" in html.page(harbour)


def test_a_puller_weaker_than_the_cable_sets_its_own_limit(harbour):
    pull = harbour["sections"][0]["pulls"][0]
    check = dict(pull["checks"][0], name="puller_tension", limit=0.5 * pull["max_tension_N"])
    pull["checks"].append(check)
    made = sheet(harbour, 1)["limit"]
    assert made["setting"] == Units.of(harbour).text("force", check["limit"])
    assert "the puller's is" in made["note"]


def test_sidewall_pressure_near_its_limit_decides_the_setting(harbour):
    pull = harbour["sections"][0]["pulls"][0]
    (check,) = (c for c in pull["checks"] if c["name"] == "max_sidewall")
    check |= {"utilisation": 0.98, "binding": True}
    pull["max_tension_N"] = 0.5 * pull["limits"]["max_tension_N"]
    made = sheet(harbour, 1)["limit"]
    # 2 % more tension is 2 % more sidewall pressure: 2,500 lbf / 0.98
    assert made["setting"] == "2,551 lbf"
    assert "sidewall pressure in a bend reaches its limit" in made["note"]
    check["utilisation"] = 0.5
    assert sheet(harbour, 1)["limit"]["setting"] == "2,750 lbf"


def test_values_between_rows_are_read_off_straight():
    assert crew.value_at([0.0, 10.0, 20.0], [0.0, 100.0, 300.0], 15.0) == pytest.approx(200.0)
    assert crew.value_at([0.0, 10.0], [5.0, 7.0], 99.0) == 7.0


@pytest.mark.parametrize("suffix", [".png", ".svg"])
def test_a_picture_of_every_document(document, tmp_path, suffix):
    picture.write(document, tmp_path / f"plan{suffix}")
    start = (tmp_path / f"plan{suffix}").read_bytes()[:8]
    assert start == (b"\x89PNG\r\n\x1a\n" if suffix == ".png" else b"<?xml ve")


def test_another_kind_of_picture_is_refused(harbour, tmp_path):
    with pytest.raises(OutputError, match=r"\.svg or \.png"):
        picture.write(harbour, tmp_path / "plan.gif")


def test_a_crew_sheet_says_that_the_grade_is_not_known(harbour):
    def grade():
        return dict(crew.sheet_of(harbour, pulls_of(harbour)[0], Units.of(harbour))["facts"]).get("Grade")

    assert grade() is None
    for section in harbour["sections"]:
        for pull in section["pulls"]:
            pull["profile"]["elevation_m"] = [None] * len(pull["profile"]["elevation_m"])
    assert grade() == "grade not known: taken as flat; a slope changes the tension and may need a brake"


def test_notes_on_lubricant_name_their_pull(harbour):
    data = pdf.report_data(harbour)
    for number, detail in enumerate(data["details"], 1):
        assert any(note.startswith(f"Lubricant of pull {number}: base quantity") for note in detail["notes"])
    assert [row[0] for row in data["lubricant"]] == ["1", "1", "2", "3", "4", "5"]
    assert data["lubricant"][1][1] == "MH-1"


def test_the_report_says_what_would_give_a_plan(no_plan):
    pusher = {
        "kind": "pusher", "from": "MH-5", "to": "MH-6", "value": 1957.2, "unit": "N", "now": None, "vault": "MH-5",
        "segment": "", "span": None, "station_m": None, "x": None, "y": None, "turn_rad": None, "friction": [],
        "feed": "MH-5", "pull": "MH-6", "utilisation": 0.9959, "plan": None,
    }  # fmt: skip
    stretch = {
        "from": "MH-5",
        "to": "MH-6",
        "spans": [["MH-5", "MH-6"]],
        "why": "sidewall pressure 132 %",
        "looked": True,
    }
    no_plan["no_plan"] |= {"missing": [stretch | {"remedies": [pusher]}], "remedies": []}
    lines = pdf.report_data(no_plan)["no_plan"]
    assert lines[0] == "No section gets from MH-5 to MH-6: sidewall pressure 132 %"
    # 1957.2 N is 440 lbf (NIST SP 811)
    assert "a pusher of 440 lbf at the feed, MH-5; MH-5 -> MH-6 then passes at 99.6 %" in lines[1]
    no_plan["no_plan"]["missing"] = [stretch | {"remedies": []}]
    assert "no single" in pdf.report_data(no_plan)["no_plan"][1]
    no_plan["no_plan"]["missing"] = [stretch | {"looked": False, "remedies": []}]
    assert "not looked for" in pdf.report_data(no_plan)["no_plan"][1]


@needs_reader
def test_the_report_says_why_and_marks_the_knee(argued, tmp_path):
    pdf.write_report(argued, tmp_path / "report.pdf")
    text = " ".join("".join(pages(tmp_path / "report.pdf")).split())
    assert "Why this plan" in text
    assert "the job asks for a splice here" in text
    assert "without it: no plan: too long" in text
    row = text[text.index("Alternatives") :]
    assert row.index("55.5") < row.index("knee")
    assert row.index("40") < row.index("the plan") < row.index("55.5")
    pdf.write_report(argued, tmp_path / "again.pdf")
    assert (tmp_path / "again.pdf").read_bytes() == (tmp_path / "report.pdf").read_bytes()

import copy
import re

from tautline.deliver.present import columns, used
from tautline.deliver.reasons import helps, remedy_words, splice_words
from tautline.deliver.screen import render


def test_the_plan_in_the_job_s_own_units(harbour):
    text = render(harbour)
    assert text.startswith("Harbour feeder: PASS\n")
    assert text.rstrip().endswith("Verdict: PASS")
    # by hand: 1720.0556 m / 0.3048, 19007.789 N / 4.44822, 2720.05 N/m x 0.3048 / 4.44822, slack 2 x 15 ft
    for figure in ("5,643 ft", "4,273", "186", "1,900", "2,500 ft", "85 %"):
        assert figure in text
    assert "kN" not in text
    harbour["job"]["units"] = "si"
    metric = render(harbour)
    for figure in ("1,720.1 m", "19.01", "2.72", "kN/m"):
        assert figure in metric
    assert "lbf" not in re.sub(r"lbf (replaces|per)", "", metric.split("Override")[0])


def test_everything_a_planner_needs_is_there(harbour):
    text = render(harbour)
    for part in (
        "MH-3 -> SUB-A",
        "re-lube at MH-1",
        "Splices at: MH-3, MH-5, MH-7",
        "90° bend R 12.5 ft, 144 ft past MH-1",
        "other way: tension -6 %, sidewall -2 %",
        "hold back at least 112 lbf at the feed",
        "LUBRICANT",
        "corner-swept",
        "limits.max_tension in the job",
        "3 assumptions",
        "Override: limits.max_tension",
        "Caution:",
    ):
        assert part in " ".join(text.split()), part


def test_every_document_keeps_to_a_hundred_columns_and_one_line_a_line(document):
    text = render(document)
    assert "\x1b" not in text
    for line in text.splitlines():
        # a name that is longer than its column stands whole on a line of its own
        assert columns(line) <= 100 or "Pumping station" in line or "<script>" in line, line


def test_a_failing_pull_is_named_and_its_figures_differ(failing):
    text = render(failing)
    assert "Verdict: FAIL (1 of 5 pulls fails: 2)" in text
    assert "100.03 %" in text
    assert "pull 2 max tension 5,001 lbf, limit 5,000 lbf" in text


def test_no_plan_says_why_and_how_far(no_plan):
    text = " ".join(render(no_plan).split())
    assert "NO PLAN" in text
    assert "No pull crosses MH-5 to MH-6 under the sidewall limit." in text
    # a span may also be blocked for want of a splice vault beside it, so what is in its way stands there alone
    assert "- MH-5 to MH-6: sidewall pressure 132 % of its limit" in text
    assert "reach MH-5" in text
    assert "not a plan" in text


def test_check_has_no_sections(checked):
    text = render(checked)
    assert "SECTIONS" not in text
    assert "RISER-9 -> MH-7" in text


def test_long_names_are_whole(nasty):
    text = render(nasty)
    assert "Pumping station at the north gate, chamber of the second duct bank 003" in text


def test_nothing_is_lost_from_long_lists_without_a_word(harbour):
    note, warning = harbour["findings"]
    harbour["findings"] = [dict(note) for _ in range(45)] + [dict(warning) for _ in range(30)]
    text = render(harbour)
    assert "(30 warnings, 45 infos)" in text
    assert "10 more in the result document" in text
    assert "and 44 more of the kind in the result document" in text


def test_a_cable_without_a_name_is_told_by_what_it_is(harbour):
    for cable in harbour["bundle"]["cables"]:
        cable["name"] = ""
    # 253.35 mm2 over 0.5067075 mm2 a kcmil (pi / 4 x (25.4 mm)^2 / 1000)
    assert "3 x 499.993 kcmil copper, shielded" in render(harbour)


def test_a_failure_without_a_ratio_shows_none_of_another_check(harbour):
    """A pull that is too cold fails, though its tension is far from any limit."""
    pull = harbour["sections"][0]["pulls"][0]
    pull |= {"utilisation": 0.0817, "verdict": "fail", "governs": "temperature"}
    assert used(pull) == "-"
    assert not re.search(r"\s8 %", render(harbour))
    assert used(pull | {"utilisation": 1.3}) == "130 %"
    assert used(pull | {"verdict": "pass"}) == "8 %"


def test_a_splice_without_a_reason_takes_no_line(harbour):
    tags = [v["tag"] for v in harbour["vaults"][1:3]]
    harbour["splices"] = [
        {"vault": tag, "forced": forced, "moved": []} for tag, forced in zip(tags, (True, False), strict=True)
    ]
    lines = render(harbour).splitlines()
    assert f"  {tags[0]}: the job asks for a splice here" in lines
    assert not any(line.strip() == f"{tags[1]}:" for line in lines)


def test_a_new_vault_where_the_job_lets_none_stand_is_told_as_that():
    remedy = {"kind": "vault", "value": 30.0, "from": "A", "to": "B", "span": ["A", "B"], "station_m": 30.0}
    remedy |= {"feed": None, "utilisation": 0.5, "plan": None}
    document = {"job": {"units": "si"}, "findings": []}
    beside = "looked for without the lead, spacing and zones of [vaults]"
    assert beside not in remedy_words(remedy, document)
    document["findings"] = [{"code": "vaults-not-enough"}]
    assert beside in remedy_words(remedy, document)


def test_names_from_right_to_left_leave_reasons_in_order(harbour):
    # Unicode Standard Annex 9, 2.4: a name between isolates turns nothing that stands beside it
    name = "\u05d1\u05d5\u05e8 3"
    splice = {"forced": False, "moved": [{"to": name, "extra_cost": 4.0, "why": ""}]}
    assert splice_words(splice) == f"at \u2066{name}\u2069 the plan would cost 4 more"


def test_the_check_that_governs_is_told_with_its_place_where_no_other_word_says_it(sample_plan):
    """The sample's third pull bends tightest on a guide at a vault; what governs it is made that check."""
    document = copy.deepcopy(sample_plan.to_dict())
    pull = document["sections"][2]["pulls"][0]
    assert pull["governs"] == "max_sidewall"
    assert "max sidewall governs; worst sidewall: " in " ".join(render(document).split())
    pull["governs"] = "bending_radius"
    text = " ".join(render(document).split())
    # the drawing has bends of 12.5 ft there
    assert re.search(
        r"bending radius governs: \d+° bend R 12\.5 ft, [\d.]+ ft (past|before) MH-1\d; worst sidewall", text
    )
    pull["governs"] = "eye_tension"
    assert "eye tension governs; worst sidewall" in " ".join(render(document).split())


def test_several_new_vaults_are_spoken_of_where_a_longer_reel_alone_or_one_vault_is_not_enough():
    remedy = {
        "kind": "pusher",
        "value": 400.0,
        "from": "A",
        "to": "B",
        "vault": "A",
        "leave": [],
        "reel_m": 500.0,
    }
    remedy |= {"feed": "A", "pull": "B", "utilisation": 0.9, "plan": None}
    document = {"job": {"units": "si"}, "reel": {}, "findings": []}
    told, several = helps({"remedies": [remedy]}, document)
    assert told.startswith(
        "a pusher of 0.40 kN at the feed, A, with cable on reels of 500.0 m; A -> B then passes"
    )
    assert several == "several new vaults at once may, which [vaults] propose = true looks for"
    assert len(helps({"remedies": [remedy | {"reel_m": None}]}, document)) == 1
    document["findings"] = [{"code": "vaults-not-enough"}]
    assert helps({"remedies": [remedy]}, document) == [told]

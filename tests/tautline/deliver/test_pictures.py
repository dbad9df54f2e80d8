import re
from xml.etree import ElementTree

import pytest

from tautline.deliver.chart import below
from tautline.deliver.feeder_picture import feeder_picture
from tautline.deliver.frame import ROLES, pulls_of
from tautline.deliver.picture import picture_of
from tautline.deliver.plan_picture import PlanPicture
from tautline.deliver.present import Units
from tautline.deliver.pull_picture import pull_picture
from tautline.deliver.svg import round_down, shorten, ticks

SVG = "{http://www.w3.org/2000/svg}"


def test_every_picture_is_well_formed(document):
    units = Units.of(document)
    pictures = [PlanPicture(document, legend=True).render(), feeder_picture(document)]
    pictures += [pull_picture(p, units) for p in pulls_of(document)]
    for picture in pictures:
        if picture is not None:
            root = ElementTree.fromstring(str(picture).encode())
            assert root.tag == SVG + "svg"
            assert not re.search(r"nan|inf\b", str(picture))


def test_the_scale_bar_is_to_scale(harbour):
    """Two vaults on the plan stand as far apart, by its scale bar, as in the document."""
    picture = PlanPicture(harbour)
    root = ElementTree.fromstring(str(picture.render()).encode())
    bar = next(g for g in root.iter(SVG + "g") if g.get("class") == "bar fixed")
    pixels = float(re.search(r"H([\d.]+)", bar[0].get("d"))[1])
    feet = float(bar[1].text.split()[0].replace(",", ""))
    a, b = harbour["vaults"][0], harbour["vaults"][-1]
    (ax, ay), (bx, by) = picture.xy((a["x"], a["y"])), picture.xy((b["x"], b["y"]))
    shown = ((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5 / pixels * feet * 0.3048
    real = ((b["x"] - a["x"]) ** 2 + (b["y"] - a["y"]) ** 2) ** 0.5
    assert shown == pytest.approx(real, rel=1e-4)
    # north is up: the vault of greater northing stands higher
    assert (by < ay) == (b["y"] > a["y"])


@pytest.mark.parametrize(("vaults", "span"), [(3, 27.0), (40, 90.0), (300, 100.0)])
def test_names_shown_at_first_stay_on_the_plan(made, vaults, span):
    picture = PlanPicture(made["many"](vaults, span, tag="Chamber {:03d}"))
    root = ElementTree.fromstring(str(picture.render()).encode())
    shown = [
        g
        for g in root.iter(SVG + "g")
        if g.get("class") in ("fixed tag", "fixed use") and g.get("display") != "none"
    ]
    assert len(shown) >= 3
    for g in shown:
        x, y = (float(v) for v in re.search(r"translate\((\S+) (\S+)\)", g.get("transform")).groups())
        x0, y0, x1, y1 = (float(v) for v in g.get("data-box").split())
        assert x + x0 >= 0
        assert x + x1 <= picture.width
        assert y + y0 >= 0
        assert y + y1 <= picture.map_height


def test_a_failure_without_a_ratio_shows_none_of_another_check(harbour):
    harbour["sections"][0]["pulls"][0] |= {"utilisation": 0.0817, "verdict": "fail", "governs": "temperature"}
    text = str(PlanPicture(harbour).render())
    assert "1: - FAILS" in text
    assert not re.search(r"[ >]8 %", text)


def test_a_failing_pull_is_told_without_colour(failing):
    text = str(PlanPicture(failing).render())
    assert "2: 100.03 % FAILS" in text


@pytest.mark.parametrize(("low", "high"), [(0.0, 5200.0), (-3.2, 1.7), (0.0, 0.004), (1e6, 1e6 + 3)])
def test_ticks_are_round_and_inside(low, high):
    values = ticks(low, high, 5)
    assert 2 <= len(values) <= 12
    assert all(low - 1e-9 <= v <= high + 1e-9 for v in values)


def test_round_lengths_for_scale_bars():
    assert [round_down(v) for v in (999.0, 1000.0, 4999.0, 0.07)] == pytest.approx(
        [500.0, 1000.0, 2000.0, 0.05]
    )


def test_names_keep_their_ends_when_shortened():
    short = shorten("Pumping station north gate chamber 003", 20)
    assert len(short) == 20
    assert short.endswith("003")
    assert shorten("MH-1", 20) == "MH-1"


def test_a_line_beyond_the_scale_is_cut_where_it_crosses():
    line = [(0.0, 0.0), (1.0, 20.0), (2.0, 20.0), (3.0, 0.0), (4.0, 30.0)]
    assert below(line, 10.0) == [
        [(0.0, 0.0), (0.5, 10.0)],
        [(2.5, 10.0), (3.0, 0.0), (pytest.approx(10 / 3), 10.0)],
    ]
    assert below([(0.0, 1.0), (1.0, 2.0)], 10.0) == [[(0.0, 1.0), (1.0, 2.0)]]
    assert below([(0.0, 11.0), (1.0, 12.0)], 10.0) == []


def test_a_far_worse_other_way_does_not_squeeze_the_chart(harbour):
    pull = harbour["sections"][0]["pulls"][0]
    back = pull["reverse"]
    back["max_tension_N"] *= 9
    back["profile"]["tension_N"] = [9 * t for t in back["profile"]["tension_N"]]
    text = str(pull_picture(pulls_of(harbour)[0], Units("us")))
    # 9 x 17851.64 N / 4.4482216 by hand
    assert "the other way reaches 36,119 lbf" in text
    root = ElementTree.fromstring(text.encode())
    other = next(e for e in root.iter(SVG + "path") if e.get("class") == "other-way")
    heights = [float(v) for v in re.findall(r"[ML]\S+ (\S+?)(?=[ML]|$)", other.get("d"))]
    assert min(heights) >= 61.9


def boxes(root, *kinds):
    """Boxes of the names shown, on the picture."""
    for g in root.iter(SVG + "g"):
        if g.get("class") in kinds and g.get("display") != "none":
            x, y = (float(v) for v in re.search(r"translate\((\S+) (\S+)\)", g.get("transform")).groups())
            x0, y0, x1, y1 = (float(v) for v in g.get("data-box").split())
            yield "".join(g.itertext()), (x + x0, y + y0, x + x1, y + y1)


@pytest.mark.parametrize(
    "tag", ["MH-{:d}", "Pumping station at the north gate, second chamber {:03d}", "בור {:d}"]
)
def test_a_crew_s_plan_names_both_ends_and_no_name_lies_on_a_vault(made, tag):
    document = made["many"](8, 60, tag=tag)
    for p in pulls_of(document):
        picture = PlanPicture(document, 400.0, only=p, tallest=230.0)
        root = ElementTree.fromstring(str(picture.render()).encode())
        named = dict(boxes(root, "fixed tag"))
        for end in (p.data["feed"], p.data["pull"]):
            assert any(end[-3:] in name for name in named), end
        for v in picture.vaults:
            x, y = picture.xy((v["x"], v["y"]))
            # the signs of an end and of a splice reach 12 and 8.5 px from the vault (marks.py draws them so)
            r = picture.mark * (12.0 if "end" in v["roles"] else 8.5 if "splice" in v["roles"] else 3.5)
            for name, (x0, y0, x1, y1) in named.items():
                assert not (x0 < x + r and x - r < x1 and y0 < y + r and y - r < y1), (name, v["tag"])


def test_a_long_title_leaves_the_verdict_on_the_picture(made):
    document = made["many"](
        3, 40, name="From the eastern substation to the western riser by way of the river " * 3
    )
    svg, _ = picture_of(document)
    title = next(t for t in ElementTree.fromstring(str(svg).encode()).iter(SVG + "text"))
    assert title.text.endswith(": PASS")
    assert len(title.text) < 70


def test_the_legend_stays_within_the_picture(harbour):
    root = ElementTree.fromstring(str(PlanPicture(harbour, legend=True).render()).encode())
    under = [t for t in root.iter(SVG + "text") if t.text in ROLES.values()]
    assert [t.text for t in under] == list(ROLES.values())
    # 12 px letters of a common face are 7 px wide on average
    rights = [float(t.get("x")) + 7 * len(t.text) for t in under]
    assert all(right + 18 < float(t.get("x")) for right, t in zip(rights, under[1:], strict=False))
    assert rights[-1] < 1000


@pytest.mark.parametrize(("vaults", "crowded"), [(40, False), (300, True)])
def test_a_crowded_plan_on_paper_shows_the_route_and_says_what_it_leaves_out(made, vaults, crowded):
    text = str(PlanPicture(made["many"](vaults, 100), legend=True).render())
    assert ("too close for pass-through vaults" in text) == crowded
    assert (">MH-007<" not in text and "MH-007: pass-through" not in text) == crowded
    assert "MH-009: splice" in text
    assert text.count('class="fixed mark arrow"') == (0 if crowded else 39)

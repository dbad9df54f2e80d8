"""A whole hand calculation followed with a calculator: what is printed, put in as printed, gives what is printed."""

import itertools
import math
import re

import pytest

from mechanics.bundle import lie
from mechanics.cable import Bundle, Cable
from tautline.explain import explain, find_pull
from tautline.explain_bundle import in_each_duct
from tautline.explain_page import Page

UNIT = r"(?:lbf/ft|lbf|ft|in|deg|N/m|N|mm|m|gal|L|rad)"
KNOWN = {
    name: getattr(math, name) for name in ("sqrt", "exp", "sin", "cos", "tan", "sinh", "cosh", "asinh")
} | {
    "min": min,
    "max": max,
}
NUMBER = re.compile(r"(?<![\w.])\d+(?:\.\d+)?(?:e[-+]\d+)?")
WHOLE = 10**6  # characters; a page so wide breaks no line


def keyed(side):
    """What a person would key in for one side of an equation; None where it is not all numbers."""
    text = re.sub(rf"(?<=[\d)]) {UNIT}(?![\w^]).*$", "", side.strip())
    text = re.sub(
        r"(?<=[\d)]),? +\(?(?!sqrt|asinh|sinh?|cosh?|tan|min|max)[A-Za-z]{3,}.*$", "", text
    )  # words that follow a number
    text = re.sub(r"(?<=\d), (?=[a-zA-Z]).*$", "", text)
    if not text.startswith(("min(", "max(")):
        text = text.split(", ")[0]
    text = text.replace("e^(", " exp(").replace("^", "**").replace(" x ", "*")
    text = re.sub(r"\b(sin|cos|tan) (-?[\d.e-]*\d)", r"\1(\2)", text)
    text = re.sub(r"(?<=[\d)]) +(?=[a-z(])", "*", text)
    names = set(re.findall(r"[A-Za-z_]+", NUMBER.sub("", text)))
    if (
        not text.strip()
        or text.count("(") != text.count(")")
        or names - set(KNOWN)
        or re.search(r"[^\w\s.+\-*/(),]", text)
    ):
        return None
    return text.strip()


def half_digit(value):
    """Half of the last of the seven figures printed."""
    return 0.5 * 10.0 ** (math.floor(math.log10(abs(value))) - 6) if value else 5e-11


def followed(text):
    """The value of what is keyed in, and how far the last figure printed of each number lets it be off."""
    value = eval(text, {"__builtins__": {}}, KNOWN)
    off = 0.0
    for found in NUMBER.finditer(text):
        there = float(found.group())
        if there:
            moved = f"{text[: found.start()]}{there + half_digit(there)!r}{text[found.end() :]}"
            off += abs(eval(moved, {"__builtins__": {}}, KNOWN) - value)
    return value, off


def equations(page):
    """Neighbouring sides of every equation on the page that are all numbers."""
    pending = None
    for line in page.splitlines():
        text = re.sub(r"^(value|limit|used|source) +", "", line.strip())
        if text.startswith("["):
            continue
        if (text.startswith("= ") or re.match(r"T2 = -?[\d.]+(e-?\d+)?( |$)", text)) and pending is not None:
            side = keyed(text.split("= ", 1)[1].split(" = ")[0])
            if side is not None:
                yield line, pending, side
        pending = None
        if text.startswith(("k = ", "cable ", "with g ")):
            continue  # steps of an integration, parts of a sag: other tests follow those
        for part in re.split(r",? (?=[A-Za-z][\w' ]{0,9} = )", text):
            sides = [keyed(side) for side in part.removeprefix("= ").split(" = ")]
            for one, other in itertools.pairwise(sides):
                if one is not None and other is not None:
                    yield line, one, other
            pending = sides[-1] if text.startswith("= ") else None


def follow(page):
    """Follow every equation; return how many there were, and those that do not come out."""
    count, wrong = 0, []
    for line, one, other in equations(page):
        count += 1
        (a, off_a), (b, off_b) = followed(one), followed(other)
        if not abs(a - b) <= 1.02 * (off_a + off_b) + half_digit(b):
            wrong.append(f"{line.strip()}: {one} gives {a!r}, {other} is {b!r}")
    return count, wrong


def pulls(document):
    return document.get("pulls") or [p for s in document["sections"] for p in s["pulls"]]


@pytest.mark.parametrize("run", ["sample_plan", "laden_check"])
def test_every_equation_comes_out_as_printed(run, request):
    document = request.getfixturevalue(run).to_dict()
    for pull in pulls(document):
        for way in (pull, find_pull(document, f"{pull['pull']}:{pull['feed']}")):
            page = explain(document, way, WHOLE)
            count, wrong = follow(page)
            assert not wrong
            assert count > 2 * len(re.findall(r"^  \d+\. ", page, re.M)) + 10
            blocks = re.findall(
                r"^  (\w[\w ]+): .*\n    value   ((?:.*\n)+?)    (?:limit|source) ", page, re.M
            )
            assert len(blocks) == len(way["checks"])
            assert all(" = " in worked for name, worked in blocks if "temperature" not in name)
            assert "DOCUMENT SAYS" not in page


def test_a_wrong_figure_is_noticed():
    page = "     c = 0.2 x 1.303412 = 0.2606825, T1 = 5\n     T2 = T1 + c w L\n        = 5 + 0.2606825 x 5.25 x 20\n     T2 = 32.37166 lbf"
    assert follow(page) == (2, [])
    for right, wrong in (("0.2606825,", "0.2606835,"), ("32.37166", "32.37176"), ("x 20", "x 20.0001")):
        assert len(follow(page.replace(right, wrong))[1]) == 1


def cable(diameter, weight=25.0, role="power", area=240e-6):
    return Cable(diameter=diameter, weight=weight, role=role, conductor_area=area)


def with_beside(count, *beside, own=0.04):
    roles = ("ground", "fibre")
    others = [
        cable(g, weight, role, area)
        for (g, weight, area), role in zip(beside, roles[: len(beside)], strict=True)
    ]
    return (cable(own),) * count + tuple(others)


@pytest.mark.parametrize(
    ("cables", "inside"),
    [
        (with_beside(1, (0.02, 8.0, 70e-6)), 0.1),
        (with_beside(1, (0.039, 8.0, 70e-6)), 0.085),  # the angle between the two passes 90 degrees
        (with_beside(1, (0.015, 8.0, 70e-6), (0.012, 1.0, None)), 0.1),
        (with_beside(1, (0.03, 8.0, 70e-6), (0.06, 1.0, None)), 0.11),
        (with_beside(2, (0.035, 20.0, 70e-6)), 0.15),  # a light one that parts two
        (with_beside(2, (0.05, 30.0, 300e-6)), 0.15),  # one wider than they are
        (with_beside(3, (0.012, 8.0, 70e-6)), 0.13),
        (with_beside(3, (0.05, 20.0, 70e-6)), 0.16),
        (with_beside(4, (0.012, 8.0, 70e-6), (0.03, 1.0, None)), 0.15),
        (with_beside(5, (0.012, 8.0, 70e-6), (0.01, 1.0, None)), 0.15),
        (with_beside(5, (0.012, 8.0, 70e-6), (0.035, 1.0, None)), 0.2),
    ],
)
@pytest.mark.parametrize("units", ["si", "us"])
def test_a_cable_beside_others_comes_out_as_printed(cables, inside, units):
    found = lie(Bundle(cables), inside)
    pull = {
        "arrangement": found.arrangement,
        "weight_N_per_m": 1.0,
        "segments": {
            "inside_diameter_m": [inside],
            "guide": [False],
            "weight_correction": [found.weight_correction],
            "sidewall_factor": [found.sidewall_factor],
            "length_m": [],
        },
    }
    rows = [
        {
            "diameter_m": c.diameter,
            "weight_N_per_m": c.weight,
            "role": c.role,
            "conductor_area_m2": c.conductor_area,
        }
        for c in cables
    ]
    page = Page.of({"job": {"units": units}, "bundle": {"cables": rows}, "overrides": []}, pull)
    text = "\n".join(in_each_duct(page))
    assert "not by one of the plain formulas" not in text
    count, wrong = follow(text)
    assert not wrong
    assert count >= (2 if len(cables) == 2 else 4)
    for name, value in (("k", found.weight_correction), ("q", found.sidewall_factor)):
        shown = re.findall(
            rf"^ +(?:.*: |.*, )?(?:[a-z]+ [a-z]+ )?{name}'? = (?:.*= )?([\d.]+)(?:,.*)?$", text, re.M
        )[-1]
        assert float(shown) == pytest.approx(value, rel=1e-6)

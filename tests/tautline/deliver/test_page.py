"""The report in a browser, network off, used as a person would."""

import runpy
from pathlib import Path

import pytest

from tautline.deliver import html

BROWSER = runpy.run_path(str(Path(__file__).with_name("browser.py")))

pytestmark = pytest.mark.skipif(BROWSER["find"]() is None, reason="no chromium on this machine")


@pytest.fixture(scope="module")
def browser():
    made = BROWSER["Browser"]()
    yield made
    made.close()


@pytest.fixture
def opened(browser, tmp_path):
    def show(document):
        browser.problems.clear()
        html.write(document, tmp_path / "report.html")
        browser.open(tmp_path / "report.html")
        return browser

    return show


SHOWN = "document.querySelector('#pull-detail article:not([hidden])')?.id"


def column(browser, table, number):
    cells = f"document.querySelectorAll('#{table} tbody tr td:nth-child({number})')"
    return browser.run(f"Array.from({cells}).map((c) => Number(c.dataset.v))")


def test_a_pull_is_shown_on_a_click_in_the_table_and_on_the_plan(opened, harbour):
    browser = opened(harbour)
    assert browser.run(SHOWN) == "pull-1"
    browser.click('tr.pull[data-pull="4"] .go')
    assert browser.run(SHOWN) == "pull-4"
    assert browser.run("location.hash") == "#pull-4"
    # a press on the plan lands on the topmost thing at that place, so aim beside the arrow on the pull's line
    spot = browser.run(
        "(() => { const p = document.querySelector('svg.plan .pull[data-pull=\"2\"] .grip');"
        "p.scrollIntoView({block: 'center', behavior: 'instant'});"
        "const at = p.getPointAtLength(p.getTotalLength() * 0.3).matrixTransform(p.getScreenCTM());"
        "return [at.x, at.y]; })()"
    )
    browser.mouse("mousePressed", *spot)
    browser.mouse("mouseReleased", *spot)
    assert browser.run(SHOWN) == "pull-2"
    assert browser.problems == []


def test_tables_sort_by_number_both_ways(opened, harbour):
    browser = opened(harbour)
    before = column(browser, "pulls", 5)
    browser.click("#pulls thead th:nth-child(5) button")
    assert column(browser, "pulls", 5) == sorted(before)
    browser.click("#pulls thead th:nth-child(5) button")
    assert column(browser, "pulls", 5) == sorted(before, reverse=True)
    assert browser.problems == []


def test_every_document_opens_without_a_problem(opened, document):
    browser = opened(document)
    assert browser.run("document.querySelectorAll('article b, td b').length") <= 1
    assert browser.problems == []


def test_a_chart_is_read_off_at_the_pointer(opened, harbour):
    browser = opened(harbour)
    spot = browser.run(
        "(() => { const s = document.querySelector('article:not([hidden]) .pull-chart');"
        "s.scrollIntoView({block: 'center', behavior: 'instant'}); const r = s.getBoundingClientRect();"
        "const read = JSON.parse(s.dataset.read);"
        "return [r.left + read.right / s.viewBox.baseVal.width * r.width - 0.01, r.top + r.height / 3]; })()"
    )
    browser.mouse("mouseMoved", *spot)
    text = browser.run("document.querySelector('article:not([hidden]) .readout').textContent")
    assert text.startswith("1,870 ft: 4,27")
    assert "lbf" in text


def test_names_on_the_plan_never_cover_each_other_at_any_scale(opened, made):
    browser = opened(made["many"](120, 90))
    # a text's box reaches beyond its letters: 4 px of leading above and below, 2 px of white edge at the sides
    script = """(() => {
        const boxes = Array.from(document.querySelectorAll('svg.plan .tag, svg.plan .use'))
            .filter((n) => n.getAttribute('display') !== 'none').map((n) => n.getBoundingClientRect());
        const meet = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 4
            && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 8;
        return [boxes.length, boxes.filter((a, i) => boxes.slice(0, i).some((b) => meet(a, b))).length];
    })()"""
    for _ in range(4):
        shown, covered = browser.run(script)
        assert shown > 5
        assert covered == 0
        browser.click('[data-zoom="in"]')
        browser.run("new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)))")
    assert browser.problems == []


def test_long_tables_are_complete_soon_and_sort_at_once(opened, made):
    browser = opened(made["many"](420, 60, per_section=1))
    browser.click("#pulls thead th:nth-child(1) button")
    assert column(browser, "pulls", 1) == list(range(1, 420))
    browser.click('tr.pull[data-pull="300"] .go')
    browser.run("new Promise((r) => setTimeout(r, 300))")
    assert browser.run(SHOWN) == "pull-300"
    assert browser.problems == []


def test_a_phone_needs_no_sideways_scrolling_of_the_page(opened, nasty):
    browser = opened(nasty)
    phone = {"width": 360, "height": 740, "deviceScaleFactor": 2, "mobile": True}
    browser.call("Emulation.setDeviceMetricsOverride", phone)
    try:
        browser.open(Path(browser.run("decodeURIComponent(location.pathname)")))
        wide = browser.run("document.documentElement.scrollWidth")
        assert wide <= 360
    finally:
        browser.call("Emulation.clearDeviceMetricsOverride")


def test_a_crowded_plan_is_complete_when_looked_at_closer(opened, made):
    browser = opened(made["many"](300, 90, per_section=1))
    count = "document.querySelectorAll('svg.plan .arrow').length"
    assert browser.run(count) == 0
    browser.click('[data-zoom="in"]')
    assert browser.run(count) == 299
    assert browser.run("document.querySelectorAll('svg.plan .tag').length") == 300
    namespace = "document.querySelector('svg.plan .arrow').namespaceURI"
    assert browser.run(namespace) == "http://www.w3.org/2000/svg"
    assert browser.problems == []

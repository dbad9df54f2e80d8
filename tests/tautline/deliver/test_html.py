import json
import re
from html.parser import HTMLParser

from tautline.deliver import html


class Tags(HTMLParser):
    """Counts elements; a name that became markup would add some."""

    def __init__(self):
        super().__init__()
        self.counts, self.stack, self.urls = {}, [], []

    def handle_starttag(self, tag, attrs):
        self.counts[tag] = self.counts.get(tag, 0) + 1
        self.urls += [v for k, v in attrs if k in ("src", "href", "action", "data", "srcset", "poster")]

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)


def parsed(page):
    tags = Tags()
    tags.feed(page)
    details = json.loads(re.search(r'id="details">(.*?)</script>', page, re.S)[1])
    for text in details["pulls"]:
        tags.feed(text)
    return tags


def test_every_document_makes_a_page_that_needs_nothing_from_outside(document):
    page = html.page(document)
    tags = parsed(page)
    assert tags.urls == []
    assert tags.counts["script"] == 3
    assert not re.search(r"@import|url\((?!#)|https?://(?!www\.w3\.org/2000/svg)", page)
    assert "default-src 'none'" in page


def test_names_never_become_markup(harbour, nasty):
    plain_page, nasty_page = parsed(html.page(harbour)), parsed(html.page(nasty))
    # the long names alone add nothing but tooltips
    for tag in ("b", "script", "td", "article", "path", "button", "bdi"):
        expected = plain_page.counts.get(tag, 0)
        assert nasty_page.counts.get(tag, 0) == expected, tag
    page = html.page(nasty)
    assert "<b>MH</b>" not in page
    assert "&lt;b&gt;MH&lt;/b&gt;" in page


def test_figures_are_in_the_job_s_units(harbour):
    page = html.page(harbour)
    assert "4,273" in page
    assert "lbf/ft" in page
    assert " kN" not in page
    harbour["job"]["units"] = "si"
    metric = html.page(harbour)
    assert "19.01" in metric
    assert "kN/m" in metric


def test_the_verdict_and_the_worst_pull_stand_first(failing):
    page = html.page(failing)
    assert '<span class="verdict fail">FAIL</span>' in page
    assert "1 of 5 pulls fails a binding check: 2." in page
    assert 'data-first="2"' in page


def test_no_plan_says_why(no_plan):
    page = html.page(no_plan)
    assert "NO PLAN" in page
    assert "No pull crosses MH-5 to MH-6 under the sidewall limit." in page


def test_the_scripts_hash_is_the_one_the_policy_names(harbour):
    import base64
    import hashlib

    page = html.page(harbour)
    script = re.search(r"<script>(.*?)</script>", page, re.S)[1]
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"'sha256-{digest}'" in page.replace("&#39;", "'").replace("&#34;", '"')


def test_many_pulls_are_packed_and_small(made):
    import base64
    import gzip

    document = made["many"](130, 100, per_section=1)
    page = html.page(document)
    details = json.loads(re.search(r'id="details">(.*?)</script>', page, re.S)[1])
    texts = [t for batch in details["pulls"] for t in json.loads(gzip.decompress(base64.b64decode(batch)))]
    assert len(texts) == 129
    assert 'id="pull-129"' in texts[-1]


def test_a_document_without_a_single_pull_still_makes_a_page(checked):
    document = checked | {"pulls": []}
    assert "There is no pull to judge." in html.page(document)


def test_doubts_about_the_ground_stand_in_the_box_on_the_first_page(flat):
    finding = {
        "code": "elevation-zero",
        "severity": "warning",
        "message": "every vertex lies at 0",
        "where": {"file": "a.dxf", "layer": "", "id": "", "x": None, "y": None},
        "remedy": "draw the elevations",
    }
    flat["findings"] = [finding, finding | {"code": "only-said", "severity": "info"}]
    page = html.page(flat)
    box = re.search(r"<h3>Needs attention</h3>(.*?)</section>", page, re.S)[1]
    assert "warning [elevation-zero]: every vertex lies at 0 (draw the elevations)" in box
    assert "grade not known: taken as flat" in box
    assert "only-said" not in box

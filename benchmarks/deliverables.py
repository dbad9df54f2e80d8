"""Processor time and size of every deliverable for 15, 300 and 5,000 pulls, beside writing the result document itself.

How long the page takes to open is by the clock.

``python benchmarks/deliverables.py [PULLS ...]``. The documents are invented (tests/tautline/deliver/made_document.py).
"""

from __future__ import annotations

import json
import runpy
import sys
import tempfile
import time
from pathlib import Path

from tautline.deliver import dxf, gis, html, pdf, picture, screen, workbook

TESTS = Path(__file__).parent.parent / "tests" / "tautline" / "deliver"
MOST_PAGES = 300
"""Pulls up to which the PDFs are timed: a page or two each."""


def checked(pulls):
    """A check of so many pulls, each between two vaults of its own span."""
    document = runpy.run_path(str(TESTS / "made_document.py"))["many"](pulls + 1, 80.0, per_section=1)
    document["pulls"] = [p for s in document.pop("sections") for p in s["pulls"]]
    for key in ("cost", "no_plan", "reel"):
        del document[key]
    return document | {"command": "check", "feeder": None}


def opening(path):
    """Seconds until the page says that it is ready in a headless browser with the network off, or None."""
    module = runpy.run_path(str(TESTS / "browser.py"))
    if module["find"]() is None:
        return None
    browser = module["Browser"]()
    try:
        began = time.perf_counter()
        browser.open(path)
        return time.perf_counter() - began
    finally:
        browser.close()


def main():
    sizes = [int(a) for a in sys.argv[1:]] or [15, 300, 5000]
    writers = {
        "result.gpkg": gis.write,
        "result.dxf": dxf.write,
        "result.html": html.write,
        "result.xlsx": workbook.write,
        "plan.svg": picture.write,
        "crew.pdf": pdf.write_crew,
        "report.pdf": pdf.write_report,
    }
    html.page(checked(1))  # imports and caches, so that the first row is not charged with them
    for pulls in sizes:
        document = checked(pulls)
        with tempfile.TemporaryDirectory() as folder:
            began = time.process_time()
            text = json.dumps(document)
            base = time.process_time() - began
            print(f"{pulls:>6} pulls: result.json {base:8.3f} s {len(text) / 1e6:8.2f} MB   ratio 1")
            began = time.process_time()
            shown = screen.render(document)
            took = time.process_time() - began
            print(
                f"{'':>13} {'screen':11} {took:8.3f} s {len(shown) / 1e6:8.2f} MB   ratio {took / base:.1f}"
            )
            for name, write in writers.items():
                if name.endswith(".pdf") and pulls > MOST_PAGES:
                    continue
                path = Path(folder) / name
                began = time.process_time()
                write(document, path)
                took = time.process_time() - began
                size = path.stat().st_size / 1e6
                print(
                    f"{'':>13} {name:11} {took:8.3f} s {size:8.2f} MB   ratio {took / base:.1f}", flush=True
                )
            opened = opening(Path(folder) / "result.html")
            if opened is not None:
                print(f"{'':>13} page opens  {opened:8.3f} s")


if __name__ == "__main__":
    main()

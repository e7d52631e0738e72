"""The page of a review as a browser lays it out: nothing to be pushed sideways, the verdict in sight on a telephone too, few sheets of paper.

Without a browser these are passed over: nobody is asked to have one.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from html import escape, unescape
from pathlib import Path

import pytest
from proposals import ask, both, works_in
from story import amount, less, raised

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--hide-scrollbars", "--no-pdf-header-footer",
)  # fmt: skip
MEASURE = """
document.body.dataset.seen = JSON.stringify([...document.querySelectorAll("iframe")].map(frame => {
  const page = frame.contentDocument, all = (which) => [...page.querySelectorAll(which)];
  return {page: page.documentElement.scrollWidth, bad: all("td .bad").map(one => one.getBoundingClientRect().right),
    small: Math.min(...all("td, p").map(one => parseFloat(getComputedStyle(one).fontSize)))};
}));
"""
WIDTHS = (390, 800, 1280)
"""Of a telephone, a tablet and a laptop [px]."""

pytestmark = pytest.mark.skipif(BROWSER is None, reason="no browser is here")


def browse(folder: Path, page: str, *words: str) -> str:
    """Have the browser load a page; what it writes."""
    file = folder / "page.html"
    file.write_text(page, encoding="utf-8")
    done = subprocess.run((BROWSER or "", *QUIET, f"--user-data-dir={folder / 'browser'}", *words, file.as_uri()), capture_output=True, text=True, check=True)
    return done.stdout


@pytest.fixture(scope="module")
def review(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The gate's page on a dearer and worse coalescent."""
    works = works_in(tmp_path_factory.mktemp("works"))
    head = works.propose({"formulas/T-140.toml": both(raised, amount("RM-1021", "10.0 lb", "14.0 lb", "RM-1020"), less("RM-1001", "4.5"))})
    return ask("-C", str(works.repo.path), "gate", "--base", works.base, "--head", head, "--today", "2026-01-12", how="html").out


def test_nothing_is_pushed_sideways_and_what_fails_is_in_sight(review: str, tmp_path: Path) -> None:
    frames = "".join(f'<iframe style="width: {width}px; border: 0" srcdoc="{escape(review)}"></iframe>' for width in WIDTHS)
    written = browse(tmp_path, f'<!DOCTYPE html><meta charset="utf-8"><body>{frames}<script>onload = () => {{ {MEASURE} }}</script>', "--dump-dom")
    (seen,) = re.findall(r'data-seen="([^"]*)"', written)
    for width, found in zip(WIDTHS, json.loads(unescape(seen)), strict=True):
        assert len(found["bad"]) >= 3
        assert max(found["page"], *found["bad"]) <= width
        assert found["small"] >= 11  # px


def test_it_prints_on_few_sheets(review: str, tmp_path: Path) -> None:
    browse(tmp_path, review, f"--print-to-pdf={tmp_path / 'page.pdf'}")
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", (tmp_path / "page.pdf").read_bytes())) <= 5

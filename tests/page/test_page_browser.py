"""The report in a real browser: silent, self-contained, legible on phone, desktop and paper.

The browser is Debian's Chromium by path, headless. A page is shown inside a frame of the wanted
width; a script added to the copy under test measures what was really laid out.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass, replace
from html import unescape
from pathlib import Path

import pytest
import render_sample

from analog.render.page import Link, overview_page, report_page

CHROMIUM = shutil.which("/usr/bin/chromium")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="/usr/bin/chromium is not installed")

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
)
PHONE_PX, DESKTOP_PX, A4_PX, LETTER_PX = 375, 1280, 695, 717
PAGE_HEIGHT_PX = {A4_PX: 1016, LETTER_PX: 950}  # inside the margins, at 96 px an inch

MEASURE = """
<script>
addEventListener("load", () => {
  const box = (e) => e.getBoundingClientRect();
  const meet = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1
    && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 2;
  const found = { overlaps: [], clipped: [], small: [], wide: [], narrow: [], figures: [] };
  document.querySelectorAll("svg.figure, svg.schematic").forEach((svg) => {
    const frame = box(svg);
    const texts = [...svg.querySelectorAll("text")].filter((t) => t.textContent.trim());
    texts.forEach((one, i) => {
      const a = box(one);
      if (a.left < frame.left - 1 || a.right > frame.right + 1
          || a.top < frame.top - 1 || a.bottom > frame.bottom + 1)
        found.clipped.push(one.textContent);
      texts.slice(0, i).forEach((other) => {
        if (meet(a, box(other))) found.overlaps.push([one.textContent, other.textContent]);
      });
      const zoom = frame.width / svg.viewBox.baseVal.width;
      const size = parseFloat(getComputedStyle(one).fontSize) * zoom;
      if (size < 7) found.small.push([one.textContent, size]);
    });
    svg.querySelectorAll(".part").forEach((part) => {
      texts.forEach((one) => {
        [...part.children].forEach((line) => {
          if (meet(box(one), box(line)) && line.tagName === "circle")
            found.overlaps.push([one.textContent, part.dataset.reference]);
        });
      });
    });
  });
  document.querySelectorAll("figure").forEach((f) => found.figures.push(box(f).height));
  document.querySelectorAll("h1,h2,h3,p,li,td,th,dd,pre,summary,.name,.big").forEach((e) => {
    if (box(e).right > innerWidth + 1 && !e.closest(".sheet"))
      found.wide.push(e.textContent.trim());
  });
  document.querySelectorAll("table.stack td, table.stack th").forEach((e) => {
    const stacked = getComputedStyle(e).display === "block" && !e.closest("thead");
    if (stacked && box(e).width < 0.8 * box(e.closest("table")).width)
      found.narrow.push(e.textContent.trim());
  });
  found.scroll = document.documentElement.scrollWidth - innerWidth;
  found.dark = getComputedStyle(document.body).backgroundColor;
  parent.postMessage(JSON.stringify(found), "*");
});
</script>
"""
FRAME = """<!doctype html><meta charset="utf-8"><title>frame</title>
<iframe src="page.html" style="border:0;width:{width}px;height:3000px"></iframe>
<pre id="out"></pre>
<script>addEventListener("message", (m) => {{ out.textContent = m.data; }});</script>
"""


@dataclass(frozen=True)
class Seen:
    """What the browser laid out and what it said and fetched meanwhile."""

    measured: dict[str, object]
    console: list[str]
    requests: list[str]


def browse(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [str(CHROMIUM), *FLAGS, f"--user-data-dir={folder / 'profile'}", *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=180, check=False)


def look(folder: Path, html: str, width: int, *extra: str) -> Seen:
    folder.mkdir()
    (folder / "page.html").write_text(html.replace("</body>", MEASURE + "</body>"), "utf-8")
    (folder / "frame.html").write_text(FRAME.format(width=width), "utf-8")
    net = folder / "net.json"
    done = browse(
        folder,
        "--enable-logging=stderr",
        f"--log-net-log={net}",
        "--virtual-time-budget=4000",
        f"--window-size={width + 40},1200",
        "--dump-dom",
        *extra,
        (folder / "frame.html").as_uri(),
    )
    out = re.search(r'<pre id="out">(.+?)</pre>', done.stdout, re.DOTALL)
    assert out, f"the page did not report:\n{done.stderr[-2000:]}"
    console = [line for line in done.stderr.splitlines() if "CONSOLE" in line]
    return Seen(json.loads(unescape(out[1])), console, requests_of_page(net))


def requests_of_page(net_log: Path) -> list[str]:
    """Return what the page asked for over a network; the browser's own errands have no origin."""
    found = set()
    for line in net_log.read_text("utf-8", "replace").splitlines():
        event = re.search(r'"initiator":"([^"]*)".*"url":"((?:https?|wss?|ftp):[^"]+)"', line)
        if event and event[1] != "not an origin":
            found.add(event[2])
    return sorted(found)


def nasty_checked() -> object:
    """Return the sample with long names, Unicode and a huge number of rows."""
    long = "an exceptionally long name of a measure that nobody would shorten " * 2
    plan = render_sample.plan(title="Bänk Ω " + long, source="document " * 40)
    measures = tuple(replace(one, title=long + one.title) for one in plan.measures)
    scene = plan.scenes[0]
    plot = scene.plots[0]
    levels = tuple(replace(level, label=long[:70]) for level in plot.levels)
    marks = tuple(replace(mark, label=f"crossing number {k}") for k in range(5)
                  for mark in plot.marks)  # fmt: skip
    scene = replace(scene, plots=(replace(plot, levels=levels, marks=marks, title=long),))
    checked = render_sample.checked(replace(plan, measures=measures, scenes=(scene,)))
    rows = checked.results.benches[0].measures * 67
    bench = replace(checked.benches[0], result=replace(checked.benches[0].result, measures=rows))
    results = replace(checked.results, benches=(bench.result,))
    return replace(checked, results=results, benches=(bench,))


def html_of(checked: object) -> str:
    beside = (Link("results.json", "all numbers, for programs"),)
    return report_page(checked, render_sample.ClosedForm(), "2025-11-25", beside)  # type: ignore[arg-type]


@pytest.fixture(scope="module", params=["plain", "nasty"])
def html(request: pytest.FixtureRequest) -> str:
    return html_of(render_sample.checked() if request.param == "plain" else nasty_checked())


def check_layout(seen: Seen) -> None:
    for fault in ("overlaps", "clipped", "wide", "narrow"):
        assert seen.measured[fault] == [], fault
    scroll = seen.measured["scroll"]
    assert isinstance(scroll, int)
    assert scroll <= 1, "the page scrolls sideways"
    assert seen.console == []
    assert seen.requests == []


@pytest.mark.parametrize("width", [PHONE_PX, DESKTOP_PX])
def test_screen(tmp_path: Path, html: str, width: int) -> None:
    seen = look(tmp_path / "seen", html, width)
    check_layout(seen)
    assert seen.measured["small"] == []


@pytest.mark.parametrize("width", [A4_PX, LETTER_PX])
def test_every_figure_fits_a_printed_page(tmp_path: Path, html: str, width: int) -> None:
    printed = html.replace("@media print", "@media screen").replace(
        "@page { margin: 14mm 13mm; }", ""
    )
    seen = look(tmp_path / "seen", printed, width)
    check_layout(seen)
    heights = seen.measured["figures"]
    assert isinstance(heights, list)
    assert heights
    assert max(heights) < PAGE_HEIGHT_PX[width]


def test_dark_is_dark_and_light_is_light(tmp_path: Path) -> None:
    html = html_of(render_sample.checked())
    light = look(tmp_path / "light", html, DESKTOP_PX, "--blink-settings=preferredColorScheme=1")
    dark = look(tmp_path / "dark", html, DESKTOP_PX, "--blink-settings=preferredColorScheme=0")
    assert light.measured["dark"] == "rgb(251, 250, 247)"
    assert dark.measured["dark"] == "rgb(22, 25, 28)"


def test_it_prints(tmp_path: Path) -> None:
    page, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    page.write_text(html_of(render_sample.checked()), "utf-8")
    browse(tmp_path, f"--print-to-pdf={pdf}", "--no-pdf-header-footer", page.as_uri())
    pages = len(re.findall(rb"/Type\s*/Page\b", pdf.read_bytes()))
    assert 2 <= pages <= 8


def test_the_overview_page(tmp_path: Path) -> None:
    results = render_sample.checked().results
    html = overview_page([(f"d{k}/index.html", results) for k in range(7)], "2025-11-25")
    for width in (PHONE_PX, DESKTOP_PX):
        check_layout(look(tmp_path / str(width), html, width))


def test_the_checks_see_what_they_should(tmp_path: Path, figure: Callable[[str], None]) -> None:
    """A page with faults planted: a request, a console error, texts on each other, one cut off."""
    html = html_of(render_sample.checked())
    html = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", html)
    planted = (
        '<svg class="figure" role="img" aria-label="x" viewBox="0 0 100 100">'
        '<text x="10" y="50">first words</text><text x="12" y="52">other words</text>'
        '<text x="90" y="90">runs out of the picture</text></svg>'
        '<img src="http://127.0.0.1:9/x.png" alt=""><p style="width:3000px">wide</p>'
        "<script>console.error('planted')</script></main>"
    )
    seen = look(tmp_path / "seen", html.replace("</main>", planted), DESKTOP_PX)
    assert ["other words", "first words"] in seen.measured["overlaps"]  # type: ignore[operator]
    assert "runs out of the picture" in seen.measured["clipped"]  # type: ignore[operator]
    assert "wide" in seen.measured["wide"]  # type: ignore[operator]
    assert seen.requests == ["http://127.0.0.1:9/x.png"]
    assert any("planted" in line for line in seen.console)
    figure(f"{len(seen.console)} console lines and {len(seen.requests)} request seen as planted")

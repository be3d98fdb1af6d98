"""What the page's own script does in a real browser: enlarge with keys and buttons, copy, print."""

from __future__ import annotations

import json
import re
from html import unescape
from pathlib import Path

import pytest
import render_sample
from test_page_browser import CHROMIUM, browse, html_of

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="/usr/bin/chromium is not installed")

PROBE = """
<pre id="out"></pre>
<script>
addEventListener("load", async () => {
  const found = {};
  const svg = document.querySelector("svg.figure");
  const sheet = svg.parentElement;
  const view = () => svg.getAttribute("viewBox").split(" ").map(Number);
  const key = (name, more) => sheet.dispatchEvent(
    new KeyboardEvent("keydown", { key: name, bubbles: true, cancelable: true, ...more }));
  found.whole = view();
  found.arrowBefore = key("ArrowRight");
  key("+");
  found.enlarged = view();
  found.arrowAfter = key("ArrowRight");
  found.moved = view();
  for (let k = 0; k < 30; k += 1) key("ArrowRight");
  found.farthest = view();
  for (let k = 0; k < 30; k += 1) key("+");
  found.deepest = view();
  found.withControl = key("0", { ctrlKey: true });
  dispatchEvent(new Event("beforeprint"));
  found.printed = view();
  found.open = document.querySelectorAll("details:not([open])").length;
  dispatchEvent(new Event("afterprint"));
  found.shut = document.querySelectorAll("details[open]").length;
  const buttons = [...sheet.nextElementSibling.querySelectorAll("button")];
  found.labels = buttons.map((one) => one.getAttribute("aria-label"));
  buttons[0].click();
  found.byButton = view();
  buttons[2].click();
  found.again = view();
  const copy = [...document.querySelectorAll("button")].find((one) => one.textContent === "copy");
  const text = copy.nextElementSibling;
  text.closest("details").open = true;
  copy.click();
  await new Promise((done) => setTimeout(done, 300));
  found.copied = copy.textContent;
  found.selected = getSelection().toString().slice(0, 40);
  found.netlist = text.textContent.slice(0, 40);
  found.focusable = [...document.querySelectorAll("button, a[href], summary, [tabindex]")]
    .every((one) => one.tabIndex >= 0);
  document.getElementById("out").textContent = JSON.stringify(found);
});
</script></body>"""


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    folder = tmp_path_factory.mktemp("controls")
    page = folder / "page.html"
    page.write_text(html_of(render_sample.checked()).replace("</body>", PROBE), "utf-8")
    done = browse(folder, "--virtual-time-budget=6000", "--dump-dom", page.as_uri())
    out = re.search(r'<pre id="out">(.+?)</pre>', done.stdout, re.DOTALL)
    assert out, done.stderr[-2000:]
    result: dict[str, object] = json.loads(unescape(out[1]))
    return result


def box(found: dict[str, object], name: str) -> list[float]:
    value = found[name]
    assert isinstance(value, list)
    return value


def test_plus_enlarges_about_the_middle_and_arrows_move(found: dict[str, object]) -> None:
    whole, enlarged, moved = (box(found, name) for name in ("whole", "enlarged", "moved"))
    assert enlarged[2] == pytest.approx(whole[2] / 1.5, rel=1e-3)
    assert enlarged[0] - whole[0] == pytest.approx((whole[2] - enlarged[2]) / 2, rel=1e-2)
    assert moved[0] > enlarged[0]
    assert moved[2:] == enlarged[2:]


def test_nothing_is_shown_from_outside_the_picture(found: dict[str, object]) -> None:
    whole, farthest, deepest = (box(found, name) for name in ("whole", "farthest", "deepest"))
    assert farthest[0] + farthest[2] == pytest.approx(whole[0] + whole[2], abs=0.01)
    assert deepest[2] == pytest.approx(whole[2] / 16, rel=1e-2)


def test_keys_of_the_page_and_the_browser_are_left_to_them(found: dict[str, object]) -> None:
    assert found["arrowBefore"] is True  # not prevented: the page may scroll
    assert found["arrowAfter"] is False
    assert found["withControl"] is True


def test_print_shows_everything_whole(found: dict[str, object]) -> None:
    assert box(found, "printed") == pytest.approx(box(found, "whole"), abs=0.01)
    assert found["open"] == 0
    assert found["shut"] == 0


def test_buttons_do_the_same_and_say_what_they_do(found: dict[str, object]) -> None:
    assert box(found, "byButton")[2] < box(found, "whole")[2]
    assert box(found, "again") == pytest.approx(box(found, "whole"), abs=0.01)
    labels = found["labels"]
    assert isinstance(labels, list)
    assert all(str(label).endswith("while the capacitor charges") for label in labels)
    assert found["focusable"] is True


def test_a_netlist_is_copied_or_selected(found: dict[str, object]) -> None:
    assert found["copied"] in ("copied", "selected: copy it now")
    if found["copied"] != "copied":
        assert str(found["selected"]).split() == str(found["netlist"]).split()


def test_the_report_prints_to_a_pdf_of_the_same_bytes(tmp_path: Path) -> None:
    from analog.render.pdf import print_page

    page = tmp_path / "index.html"
    page.write_text(html_of(render_sample.checked()), "utf-8")
    first = print_page(page, "2025-11-25").read_bytes()
    assert first == print_page(page, "2025-11-25").read_bytes()
    assert first.startswith(b"%PDF-")
    assert b"D:20251125000000" in first
    assert sorted(path.name for path in tmp_path.iterdir()) == ["index.html", "report.pdf"]

"""The drawings of the mechanics can be read, by their own reckoning and in a browser."""

import shutil
import subprocess

import mechanics
import pytest
from paper import WIDTH, Box, Paper, text_width, wrapped

PAPERS = mechanics.papers()
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
# Boxes of all texts as the browser has rendered them; 1 px is left for rounding.
ASK = """
<script>
const found = [];
for (const svg of document.querySelectorAll("svg")) {
  const texts = [...svg.querySelectorAll("text")].map((text) => [text, text.getBBox()]);
  const width = svg.viewBox.baseVal.width, height = svg.viewBox.baseVal.height;
  texts.forEach(([text, box], i) => {
    if (box.x < 0 || box.x + box.width > width || box.y < 0 || box.y + box.height > height)
      found.push(`${text.textContent} runs off the paper`);
    for (const [other, beside] of texts.slice(i + 1))
      if (box.x + 1 < beside.x + beside.width && beside.x + 1 < box.x + box.width &&
          box.y + 3 < beside.y + beside.height && beside.y + 3 < box.y + box.height)
        found.push(`${text.textContent} lies on ${other.textContent}`);
  });
}
document.title = found.length ? "FOUND " + found.join("; ") : "CLEAR";
</script>
"""


@pytest.mark.parametrize("name", PAPERS)
def test_no_label_lies_on_another_on_a_stroke_or_off_the_paper(name):
    assert list(PAPERS[name].faults()) == []


@pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")
def test_no_label_lies_on_another_in_a_browser(tmp_path):
    page = tmp_path / "drawings.html"
    page.write_text(
        "<!doctype html><meta charset='utf-8'>" + "".join(mechanics.drawings().values()) + ASK,
        encoding="utf-8",
    )
    command = [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--dump-dom"]
    out = subprocess.run(
        [*command, f"--user-data-dir={tmp_path / 'profile'}", page.as_uri()],
        capture_output=True,
        text=True,
        timeout=100,
        check=True,
    ).stdout
    assert "<title>CLEAR</title>" in out, out[out.find("<title>FOUND") :][:2000]


@pytest.mark.parametrize("name", PAPERS)
def test_labels_are_large_enough_at_the_width_at_which_they_are_shown(name):
    """At 900 pixels nothing is smaller than 13, about the size of a page's own text."""
    svg = PAPERS[name].svg()
    assert f'viewBox="0 0 {WIDTH} ' in svg
    sizes = {float(part.split('"')[0]) for part in svg.split('font-size="')[1:]}
    assert min(sizes) >= 13


def test_what_cannot_be_read_is_told():
    paper = Paper("Bad", 200)
    paper.text(100, 100, "over")
    assert list(paper.faults()) == []
    paper.text(110, 104, "under")
    assert len(list(paper.faults())) == 1
    paper.line((90, 150), (130, 90))
    assert sum("crosses" in fault for fault in paper.faults()) >= 1
    paper.text(880, 180, "much too long")
    assert any("runs off" in fault for fault in paper.faults())


@pytest.mark.parametrize(
    ("start", "end", "crosses"),
    [
        ((0, 5), (20, 5), True),
        ((0, 0), (20, 20), True),
        ((0, 15), (20, 15), False),
        ((0, 0), (4, 0), False),
        ((5, 5), (6, 6), True),
        ((0, 10), (20, 10), False),
        ((15, 0), (15, 20), False),
    ],
)
def test_strokes_and_boxes(start, end, crosses):
    assert Box("", 2, 0, 12, 10).crossed_by(start, end) == crosses


def test_lines_are_no_wider_than_asked():
    lines = wrapped("a bolt is held by the far side of the beam, a screw by its fibres", 150)
    assert len(lines) > 2
    assert all(text_width(line, 13) <= 150 for line in lines)

"""Reports: every drop, every word as it was typed, and a page that a browser can use."""

import html.parser
import json
import re
import shutil
import subprocess
from dataclasses import fields

import pypdf
import pytest
from made_records import imported

from tautlog.cli import run
from tautlog.display.quick_look import mark_new
from tautlog.display.report.labels import LABELS
from tautlog.display.report.sheet import Paper
from tautlog.model.marks import Marks
from tautlog.record import add_decision, add_inspection, open_record

HOSTILE = '<script>alert("x")</script>{{7*7}}</script><img src=x onerror=alert(1)>'


class Page(html.parser.HTMLParser):
    """What a browser would see of a page: elements, headings, text outside scripts."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.headings, self.words, self.inside = [], [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self.inside.append(tag)

    def handle_endtag(self, tag):
        if tag in self.inside:
            while self.inside.pop() != tag:
                pass

    def handle_data(self, data):
        if not {"script", "style"} & set(self.inside):
            self.words.append(data)
        if self.inside and re.fullmatch("h[1-6]", self.inside[-1]):
            self.headings.append((int(self.inside[-1][1]), data))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A campaign of three drops, one of them hostile, and a file that is none."""
    place = tmp_path_factory.mktemp("campaign") / "kite"
    assert run(["init", str(place)]) == 0
    for name, peak, article in (("one", 900.0, "a"), ("two", 1050.0, HOSTILE), ("bad", 1.0, "a")):
        mark_new(imported(place, name, peak, article, note=HOSTILE), cfc=60)
    told = {"note": HOSTILE, "where": f"left eye {HOSTILE}", "moved": "screw 3"}
    add_inspection(place / "two.h5", by=HOSTILE, finding="parted", **told)
    add_decision(place / "two.h5", by="R. Lead", verdict="fail", proposed="pending", reason=HOSTILE)
    (place / "bad.h5").write_bytes(b"nothing")
    return place


@pytest.fixture(scope="module")
def page(folder):
    path = folder / "report.html"
    assert run(["report", str(folder), "--cfc", "60"]) == 1  # one cannot be read, and is named
    return path


def test_every_drop_is_in_it_also_what_cannot_be_read(page):
    seen = Page(page.read_text())
    text = " ".join(" ".join(seen.words).split())
    for word in ("one", "two", "bad", "cannot be read", "decided by R. Lead", "FAIL decided by"):
        assert word in text
    assert next(level for level, _ in seen.headings) == 1
    assert {"Open questions", "Ledger", "Annex: definitions"} <= {told for _, told in seen.headings}


def test_each_drop_stands_against_the_plan(page):
    text = " ".join("".join(Page(page.read_text()).words).split())
    assert "height: 1 m, campaign.toml says 1.2 m" in text
    assert "line: l, campaign.toml says polyester 8 mm, 1.5 m" in text


def test_where_it_gave_stands_with_the_drop_and_with_the_article(page):
    text = " ".join(" ".join(Page(page.read_text()).words).split())
    assert "touched or moved first: screw 3" in text
    assert text.count("left eye") == 2


def test_what_people_typed_stays_text(page):
    text = page.read_text()
    seen = Page(text)
    assert sum(tag == "script" for tag, _ in seen.tags) == 5
    assert "img" not in {tag for tag, _ in seen.tags}
    assert "49" not in HOSTILE.replace("{{7*7}}", "")
    assert HOSTILE in "".join(seen.words)


def test_it_needs_nothing_from_anywhere(page):
    for _, attrs in Page(page.read_text()).tags:
        for name in ("src", "href"):
            assert not (attrs.get(name) or "").startswith(("http", "//", "file"))


def test_curves_are_there_as_data_and_as_pictures_with_words(page):
    text = page.read_text()
    seen = Page(text)
    data = re.search(r'id="traces">(.*?)</script>', text, re.DOTALL).group(1)
    traces = json.loads(data)
    assert len(traces) == 2
    assert max(traces[1]["raw_n"]) == pytest.approx(1050.0, rel=0.01)
    pictures = [attrs for tag, attrs in seen.tags if tag == "svg"]
    assert all(one["role"] == "img" and len(one["aria-label"]) > 30 for one in pictures)
    assert 'lang="en"' in text
    assert page.stat().st_size < 400_000


def test_one_drop_by_itself_and_a_pdf(folder, tmp_path, capsys):
    out, pdf = tmp_path / "drop.html", tmp_path / "drop.pdf"
    given = ["report", str(folder / "one.h5"), "--out", str(out), "--pdf", str(pdf), "--json"]
    assert run(given) == 0
    assert json.loads(capsys.readouterr().out)["drops"] == 1
    assert "drop IMPORTED: one" in out.read_text()
    assert "drop IMPORTED: one" in pypdf.PdfReader(pdf).pages[0].extract_text()
    before = pdf.read_bytes()
    assert run(given) == 1
    assert "exists" in capsys.readouterr().err
    out.unlink()
    assert run(given) == 1  # and no half of it is written
    assert not out.exists()
    assert pdf.read_bytes() == before


@pytest.mark.wide
def test_one_word_replaces_and_nothing_is_lost(folder, tmp_path, capsys):
    out, pdf = tmp_path / "drop.html", tmp_path / "drop.pdf"
    out.write_text("of last year")
    pdf.write_bytes(b"of last year, too")
    given = ["report", str(folder / "one.h5"), "--out", str(out), "--pdf", str(pdf), "--replace"]
    assert run([*given, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["kept"] == [str(tmp_path / "drop-1.html"), str(tmp_path / "drop-1.pdf")]
    assert (tmp_path / "drop-1.html").read_text() == "of last year"
    assert (tmp_path / "drop-1.pdf").read_bytes() == b"of last year, too"
    assert "Test report" in out.read_text()
    assert run(["report", str(folder / "one.h5"), "--out", str(out), "--pdf", str(out)]) == 2


def test_the_campaign_is_that_of_the_records_and_not_of_where_we_are(folder, tmp_path, monkeypatch):
    assert run(["init", str(tmp_path / "other")]) == 0
    toml = tmp_path / "other" / "campaign.toml"
    toml.write_text(toml.read_text().replace("kite recovery bridle", "another one"))
    monkeypatch.chdir(tmp_path / "other")
    for asked, unread in ((folder, 1), (folder / "one.h5", 0)):
        out = tmp_path / f"{asked.stem}.html"
        assert run(["report", str(asked), "--out", str(out)]) == unread
        assert "another one" not in out.read_text()
        assert "no visible crack; eye distance" in out.read_text()  # its requirement
    lone = tmp_path / "lone" / "one.h5"
    lone.parent.mkdir()
    shutil.copy(folder / "one.h5", lone)
    assert run(["report", str(lone), "--out", str(tmp_path / "lone.html")]) == 0
    assert "no campaign.toml" in (tmp_path / "lone.html").read_text()


@pytest.mark.wide
def test_the_paper_says_what_the_page_says(folder, page, tmp_path, capfd):
    pdf = tmp_path / "r.pdf"
    out = ["--out", str(tmp_path / "r.html"), "--pdf", str(pdf), "--cfc", "60"]
    assert run(["report", str(folder), *out]) == 1  # one cannot be read, and is named
    assert "written without 1 of 3 files" in capfd.readouterr().err
    read = pypdf.PdfReader(pdf)
    text = " ".join(" ".join(one.extract_text() for one in read.pages).split())
    named = [told for level, told in Page(page.read_text()).headings if level == 2]
    outline = [one["/Title"] for one in _flat(read.outline)]
    assert len(named) > 10
    assert set(named) <= set(outline)
    for words in ("decided by R. Lead", "bad cannot be read", "Operator, date", "onset_time_s"):
        assert words in text
    assert HOSTILE.replace(" ", "") in text.replace(" ", "")
    assert read.metadata.title.startswith("Test report: ")
    number = re.search(r"R-\d{8}-\d{6}-[0-9a-f]{8}", text)[0]
    for place, one in enumerate(read.pages, start=1):
        told = " ".join(one.extract_text().split())
        assert f"{number}, page {place} of {len(read.pages)}" in told
        assert "IMPORTED" in told
    assert f"End of report {number}" in read.pages[-1].extract_text()


def _flat(outline):
    for one in outline:
        yield from _flat(one) if isinstance(one, list) else [one]


def test_signs_that_the_letters_lack_are_marked_and_nothing_is_said_of_them(tmp_path, capfd):
    paper = Paper("\U0001f4a3 \u4e09 caf\u00e9 \x07")
    paper.rows(("\u4e09", "b"), [("1 \u00b1 2", "\x00")], (1, 1))
    paper.points(["x" * 400])
    (tmp_path / "a.pdf").write_bytes(bytes(paper.output()))
    text = pypdf.PdfReader(tmp_path / "a.pdf").pages[0].extract_text()
    assert "caf\u00e9" in text
    assert "1 \u00b1 2" in text
    assert capfd.readouterr().err == ""


def test_how_the_drops_ended_stands_on_top(page):
    text = " ".join("".join(Page(page.read_text()).words).split())
    assert "1 pending; " in text
    assert "1 FAIL as decided" in text
    assert "; 1 cannot be read." in text


def test_nothing_to_report(tmp_path, capsys):
    assert run(["report", str(tmp_path)]) == 1
    assert run(["report", str(tmp_path / "nowhere.h5")]) == 1
    assert len(capsys.readouterr().err.strip().splitlines()) == 2


@pytest.mark.wide
def test_photos_are_kept_by_name_and_hash(folder, tmp_path, capsys):
    from PIL import Image

    path = folder / "eye.png"
    Image.new("RGB", (900, 600), (200, 30, 30)).save(path)
    record = folder / "one.h5"
    given = ["photo", str(record), str(path), "--offset", "1.25", "--note", "left <eye>", "--json"]
    assert run(given) == 0
    (kept,) = json.loads(capsys.readouterr().out)
    assert (kept["name"], kept["offset_s"]) == ("eye.png", 1.25)
    assert open_record(record).verify_seal().state == "intact"

    def told(name):
        out = tmp_path / name
        assert run(["report", str(record), "--out", str(out)]) == 0
        return Page(out.read_text())

    images = [attrs for tag, attrs in told("with.html").tags if tag == "img"]
    assert images[0]["src"].startswith("data:image/jpeg;base64,")
    assert images[0]["alt"] == "photo eye.png: left <eye>"
    Image.new("RGB", (9, 6)).save(path)
    assert "changed since it was entered" in "".join(told("other.html").words)
    path.unlink()
    assert "not in this folder" in "".join(told("gone.html").words)
    assert run(["photo", str(record), str(folder / "nothing.png"), "--note", "x"]) == 1


DRAG = """<script>
var over = window.tautlogPlots[0][0].over, box = over.getBoundingClientRect();
function send(kind, share) {
  var at = { bubbles: true, button: 0, buttons: 1, movementX: 5, movementY: 1,
    clientX: box.left + share * box.width, clientY: box.top + 0.5 * box.height };
  (kind === "down" ? over : document).dispatchEvent(new MouseEvent("mouse" + kind, at));
  if (kind === "move") { over.dispatchEvent(new MouseEvent("mousemove", at)); }
}
var plot = window.tautlogPlots[0][0];
var before = plot.scales.x.max - plot.scales.x.min;
var steps = [["move", 0.3], ["down", 0.3], ["move", 0.45], ["move", 0.6], ["up", 0.6]];
function next() {
  var step = steps.shift();
  if (step) { send(step[0], step[1]); setTimeout(next, 120); return; }
  var after = plot.scales.x.max - plot.scales.x.min;
  document.title = "plots " + window.tautlogPlots.length + " zoom " + (after / before).toFixed(3);
}
over.dispatchEvent(new MouseEvent("mouseenter", { bubbles: false }));
setTimeout(next, 200);
</script></body>"""


@pytest.mark.skipif(shutil.which("chromium") is None, reason="no chromium on this machine")
def test_in_a_browser_it_draws_and_zooms(page, tmp_path):
    """Dragged over three tenths of the curve, it shows those; nothing is on the console."""
    path = tmp_path / "dragged.html"
    path.write_text(page.read_text().replace("</body>", DRAG))
    done = subprocess.run(
        [
            "chromium",
            *"--headless --no-sandbox --disable-gpu --disable-quic --no-first-run".split(),
            *"--disable-background-networking --disable-component-update --disable-sync".split(),
            f"--user-data-dir={tmp_path / 'profile'}",
            "--enable-logging=stderr",
            "--virtual-time-budget=3000",
            "--dump-dom",
            f"file://{path}",
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert "CONSOLE" not in done.stderr
    title = re.search("<title>(.*?)</title>", done.stdout).group(1)
    assert title.startswith("plots 4 zoom ")
    assert float(title.split()[-1]) == pytest.approx(0.3, abs=0.02)


def test_every_figure_has_a_label():
    assert set(LABELS) == {field.name for field in fields(Marks)}

"""Pages of a report: one for each drop, two sizes, no key, nothing cut on a phone."""

import re
import shutil
import subprocess

import pypdf
import pytest
from made_records import imported

from tautlog.cli import run
from tautlog.display.quick_look import mark_new
from tautlog.display.report.labels import LABELS
from tautlog.record import add_decision, add_inspection

pytestmark = pytest.mark.wide  # three drops in four reports are made for the first
LONG = "a long remark that somebody typed in the cold; " * 60
UNBROKEN = "x" * 300
DROPS = (("one", 1050.0), ("two", 1080.0), ("three", 500.0))


@pytest.fixture(scope="module")
def kite(tmp_path_factory):
    """Three drops, one of them with more words than a page takes."""
    place = tmp_path_factory.mktemp("pages") / "kite"
    assert run(["init", str(place)]) == 0
    for number, (name, peak) in enumerate(DROPS):
        mark_new(imported(place, name, peak, UNBROKEN if number == 2 else "a", note=""), cfc=60)
    for _ in range(4):
        add_inspection(
            place / "two.h5", by=LONG[:60], finding="intact", note=LONG, where="", moved=UNBROKEN
        )
    add_decision(place / "two.h5", by="R. Lead", verdict="pass", proposed="pass", reason=LONG)
    return place


@pytest.fixture(scope="module")
def made(kite):
    for paper in ("a4", "letter"):
        out = ["--out", str(kite / f"{paper}.html"), "--pdf", str(kite / f"{paper}.pdf")]
        assert run(["report", str(kite), *out, "--paper", paper, "--cfc", "60"]) == 0
    return kite


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_one_page_a_drop_and_nothing_lost(made, paper, size):
    read = pypdf.PdfReader(made / f"{paper}.pdf")
    box = read.pages[0].mediabox
    assert (round(box.width), round(box.height)) == size
    texts = [" ".join(page.extract_text().split()) for page in read.pages]
    firsts = [
        next(i for i, text in enumerate(texts) if f"Drop {n}: IMPORTED: {name}" in text)
        for n, (name, _) in enumerate(DROPS, start=1)
    ]
    assert firsts == [firsts[0], firsts[0] + 1, firsts[0] + 2]
    assert "Quality of the measurements" in texts[firsts[-1] + 1]
    assert len(re.findall("PROPOSED BY THE PROGRAM", " ".join(texts))) == len(DROPS)
    assert "(in full in the annex)" in texts[firsts[1]]
    annex = "".join(texts[firsts[-1] + 2 :])
    assert annex.count("a long remark") >= 4 * 60


def test_page_one_answers(made):
    text = " ".join(pypdf.PdfReader(made / "a4.pdf").pages[0].extract_text().split())
    for words in (
        *("stand the limit load of 1800 N, tested to no more than 1980 N?", "NOT PROVEN"),
        *("kind of load", "no detrimental permanent deformation", "no visible crack"),
        *("load sheet 4, revision B", "1050 N +/- 46 N", "decided by R. Lead", "not decided"),
        *("target 1000 N", "limit 1100 N", "relate only to the items tested", "IMPORTED"),
    ):
        assert words in text
    for key in set(LABELS) - {"samples", "clipped", "serrations", "bounces", "restitution"}:
        assert "_" not in key or key not in text


def test_no_key_is_left_but_where_it_is_defined(made):
    page = (made / "a4.html").read_text()
    shown = re.sub(r"<script.*?</script>|<style.*?</style>|<code>.*?</code>", "", page, flags=re.S)
    shown = re.sub(r"<[^>]*>", " ", shown[shown.index("<body>") :])
    assert not [key for key in LABELS if "_" in key and re.search(rf"\b{key}\b", shown)]


def test_the_fields_of_a_test_report_are_named_one_by_one(made):
    page = (made / "a4.html").read_text()
    for letter in "abcdefghijklmnop":
        assert f"7.8.2.1 {letter}) " in page
    assert "laboratory, name and address; where it was done; customer; method" in page
    assert "no statement that anything conforms" in page


def test_what_the_laboratory_states_is_shown(kite, tmp_path):
    place = tmp_path / "stated"
    place.mkdir()
    shutil.copy(kite / "one.h5", place)
    text = (kite / "campaign.toml").read_text()
    head, own, rest = text.partition("[laboratory]")
    rest = rest.replace('name = ""', 'name = "Kite club, Field 3"', 1)
    rest = rest.replace('environment = ""', 'environment = "12 degC, 70 % <damp>"', 1)
    (place / "campaign.toml").write_text(head + own + rest)
    assert run(["report", str(place)]) == 0
    page = (place / "report.html").read_text()
    assert "Kite club, Field 3" in page
    assert "12 degC, 70 % &lt;damp&gt;" in page


CUT = """<script>
window.addEventListener("load", function () { setTimeout(function () {
  var wide = window.innerWidth, over = [];
  document.querySelectorAll("body *").forEach(function (node) {
    var box = node.getBoundingClientRect();
    if (node.closest("svg, .u-wrap, thead, script") || !box.width) { return; }
    // A column of single letters is cut, too.
    var thin = node.matches("caption, th, td, p, li, dt, dd") && box.width < 40 && box.height > 200;
    if (box.right <= wide + 0.5 && box.left >= -0.5 && !thin) { return; }
    over.push(node.tagName + "." + node.className);
  });
  var told = [wide, document.documentElement.scrollWidth, over.length, over[0]];
  parent.postMessage(told.join(" "), "*");
}, 500); });
</script></body>"""
# A window of a headless browser is never narrower than 500 pixels; a frame may be.
FRAME = """<script>
window.addEventListener("message", function (told) { document.title = told.data; });
</script><iframe src="measured.html" style="border: 0; width: WIDEpx; height: 844px"></iframe>"""


@pytest.mark.skipif(shutil.which("chromium") is None, reason="no chromium on this machine")
@pytest.mark.parametrize("wide", [390, 1366])
def test_nothing_is_cut(made, tmp_path, wide):
    path = tmp_path / "measured.html"
    path.write_text((made / "a4.html").read_text().replace("</body>", CUT))
    frame = tmp_path / "frame.html"
    frame.write_text(f"<title></title>{FRAME.replace('WIDE', str(wide))}")
    done = subprocess.run(
        [
            "chromium",
            *"--headless --no-sandbox --disable-gpu --disable-quic --no-first-run".split(),
            *"--disable-background-networking --disable-component-update --disable-sync".split(),
            *("--hide-scrollbars", f"--user-data-dir={tmp_path / 'profile'}"),
            *("--enable-logging=stderr", "--virtual-time-budget=4000"),
            *("--window-size=1500,900", "--dump-dom", f"file://{frame}"),
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert "CONSOLE" not in done.stderr
    title = re.search("<title>(.*?)</title>", done.stdout).group(1)
    assert title == f"{wide} {wide} 0 "

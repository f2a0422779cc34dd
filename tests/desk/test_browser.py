"""A real browser at the desk: its console, the keyboard alone, phone width, zoom and cursors."""

import contextlib

import pytest
from browser import Browser, is_there
from kites import change
from live_desks import attended, in_hand

from tautlog.desk.desk import Desk
from tautlog.desk.server import crew_entrance, serving, watchers_entrance
from tautlog.record import open_record

pytestmark = [
    pytest.mark.skipif(not is_there(), reason="no chromium on this machine"),
    pytest.mark.timeout(600),
]
DESKTOP, PHONE = (1366, 768), (390, 844)
TASKS = (
    *("/", "/plan", "/calibrate", "/calibrate/live", "/calibrate/hanging", "/proof"),
    *("/proof/live", "/checklist", "/drops", "/ledger", "/report"),
)
DROP, OVERLAY = "/drops/one", "/compare?drop=one&drop=two"
DRAWN = "document.querySelector('.curve')?.dataset.state === 'drawn'"


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    made = Browser(tmp_path_factory.mktemp("profile"))
    with contextlib.closing(made):
        yield made


@contextlib.contextmanager
def desk_at(folder, desk=None):
    """A desk that is open; the address of its crew, and of its watchers."""
    crew, watchers = crew_entrance(0), watchers_entrance("127.0.0.1", 0)
    with serving(desk or Desk(folder), [crew, watchers]):
        yield crew.link, watchers.link


def come_in(page, link):
    page.open(link)
    page.until("location.pathname === '/' && !!document.querySelector('main')")
    return link.split("/enter")[0]


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["desktop", "phone"])
@pytest.mark.rows(1)
def test_every_page_is_whole_and_its_console_empty(size, browser, made_once):
    with desk_at(made_once) as (link, _):
        page = browser.page(*size, mobile=size is PHONE)
        root = come_in(page, link)
        for address in (*TASKS, DROP, OVERLAY):
            page.open(root + address)
            if address in (DROP, OVERLAY):
                page.until(DRAWN)
            if address == "/plan":
                page.until("document.getElementById('climb').dataset.state === 'shown'")
            assert page.ask("document.documentElement.scrollWidth") <= size[0], address
            assert page.ask("!!document.querySelector('h1')")
            small = page.ask(
                "[...document.querySelectorAll('main button, main select')]"
                ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 40).length"
            )
            assert small == 0, address  # a glove hits nothing smaller
        assert page.complaints == []
        page.close()


def test_what_must_be_read_from_afar_is_large(browser, made_once):
    """Letters of 35 px on a screen of 1366 x 768: about 5 mm high on a laptop, at two metres."""
    with desk_at(made_once) as (link, _):
        page = browser.page(*DESKTOP)
        root = come_in(page, link)
        for address in ("/", "/plan", "/checklist", DROP):
            page.open(root + address)
            px = "parseFloat(getComputedStyle(document.querySelector('.far')).fontSize)"
            assert page.ask(px) >= 35.0
            top = "document.querySelector('.far').getBoundingClientRect().bottom"
            assert page.ask(top) <= DESKTOP[1], address
        page.close()


def test_an_inspection_by_keyboard_alone(browser, full):
    with desk_at(full) as (link, _):
        page = browser.page(*DESKTOP)
        root = come_in(page, link)
        page.reach("document.activeElement.textContent === 'Inspect the article of one'")
        page.key("Enter")
        page.until(f"location.href === '{root}{DROP}' && {DRAWN}")
        page.reach("document.activeElement.name === 'finding'")
        page.key(" ")
        page.reach("document.activeElement.name === 'by'")
        page.write("A. Rigger")
        page.key("Enter")
        page.until("document.body.innerText.includes('The inspection is entered')")
        found = open_record(full / "one.h5").inspections[-1]
        assert (found.by, found.finding) == ("A. Rigger", "intact")
        assert page.complaints == []
        page.close()


def test_a_point_is_taken_while_a_phone_looks_on(browser, empty, monkeypatch):
    """No page is loaded anew by hand: what the board reads comes by itself."""
    change(empty, 'port = ""', 'port = "socket://nowhere:1"')
    hand = in_hand(monkeypatch)
    with attended(empty) as desk, desk_at(empty, desk) as (link, watching):
        page, phone = browser.page(*DESKTOP), browser.page(*PHONE, mobile=True)
        root, other = come_in(page, link), come_in(phone, watching)
        phone.open(f"{other}/calibrate/live")
        page.open(f"{root}/calibrate/live")
        page.reach("document.activeElement.value === 'begin'")
        page.key("Enter")
        steady = "document.querySelector('[data-live=state]')?.textContent === 'steady'"
        page.until(steady)
        phone.until(steady)
        hand.pull(49.0)
        page.until("document.querySelector('[data-live=level]').textContent === '0.49900 V'")
        page.until("document.getElementById('live').dataset.may === 'yes'")
        page.reach("document.activeElement.name === 'force_n'")
        page.write("49")
        page.key("Enter")
        phone.until("document.getElementById('piece').innerText.includes('49.000')")
        assert phone.ask("document.documentElement.scrollWidth") <= PHONE[0]
        assert phone.ask("document.querySelectorAll('main form').length") == 0
        hand.gone = True
        phone.until("document.getElementById('piece').innerText.includes('the cable is out')")
        page.until("!!document.querySelector('button[value=connect]')")
        assert page.complaints == phone.complaints == []
        page.close()
        phone.close()


def test_sliders_are_reckoned_by_the_desk(browser, made_once):
    with desk_at(made_once) as (link, _):
        page = browser.page(*DESKTOP)
        root = come_in(page, link)
        page.open(f"{root}/plan?mass_kg=9&height_m=1")
        peak = "parseFloat(document.querySelector('.big .figure').textContent)"
        before = page.ask(peak)
        page.reach("document.activeElement.dataset.of === 'height_m'")
        for _ in range(40):
            page.key("ArrowRight")
        page.until(f"document.getElementById('height_m').value === '1.2' && {peak} > {before}")
        assert page.complaints == []
        page.close()


def test_zoom_and_cursors_by_mouse_and_by_keys(browser, made_once):
    with desk_at(made_once) as (link, _):
        page = browser.page(*DESKTOP)
        root = come_in(page, link)
        page.open(root + DROP)
        page.until(DRAWN)
        page.ask("document.querySelector('.plot').scrollIntoView({block: 'center'})")
        box = page.ask(
            "(r => [r.left, r.top, r.width, r.height])"
            "(document.querySelector('.u-over').getBoundingClientRect())"
        )
        width = "Number(document.querySelector('.curve').dataset.width)"
        whole = page.ask(width)
        left, right = box[0] + 0.3 * box[2], box[0] + 0.6 * box[2]
        page.drag((left, box[1] + 50), (right, box[1] + 60))
        page.until(f"{width} < {0.5 * whole}")
        assert page.ask(width) == pytest.approx(0.3 * whole, rel=0.05)
        page.ask("document.querySelector('.plot').focus()")
        page.key("0")
        page.until(f"Math.abs({width} / {whole} - 1) < 0.001")
        page.key("ArrowRight")
        told = "document.querySelector('[data-cursor=a]').textContent"
        first = page.until(f"{told} !== '-' && {told}")
        page.key("ArrowRight", shift=True)
        page.until(f"{told} !== {first!r}")
        page.key("b")
        page.key("ArrowRight")
        between = "document.querySelector('[data-cursor=between]').textContent"
        assert "ms" in page.until(f"{between} !== '-' && {between}")
        page.key("+")
        page.until(f"{width} < {0.6 * whole}")
        assert page.complaints == []
        page.close()


def test_a_page_is_told_what_another_one_entered(browser, full):
    with desk_at(full) as (link, watch):
        looking, entering = browser.page(*PHONE, mobile=True), browser.page(*DESKTOP)
        come_in(looking, watch)
        root = come_in(entering, link)
        assert looking.ask("document.getElementById('news').hidden")
        entering.open(f"{root}/ledger")
        for name, text in (("article", "bridle-1"), ("by", "A. Rigger")):
            entering.ask(f"document.querySelector('main [name={name}]').value = '{text}'")
        entering.ask("document.querySelector('main form').requestSubmit()")
        entering.until("document.body.innerText.includes('The entry is in the ledger')")
        looking.until("!document.getElementById('news').hidden")
        assert looking.ask("document.querySelectorAll('form[method=post]').length") == 0
        for page in (looking, entering):
            assert page.complaints == []
            page.close()


def test_a_desk_that_ends_says_nothing_of_open_pages(browser, made_once, capfd, caplog):
    with desk_at(made_once) as (link, _):
        page = browser.page(*DESKTOP)
        come_in(page, link)
        page.until("!!document.querySelector('#news')")
    page.close()
    out, err = capfd.readouterr()
    assert "Traceback" not in out + err
    assert not caplog.records


def test_a_page_of_another_place_gets_nothing_out_of_it(browser, full, tmp_path):
    """It fetches, posts, frames and listens from another origin, in a browser with a session."""
    (tmp_path / "other.html").write_text("<title>other</title>")
    before = sorted(path.name for path in full.rglob("*"))
    with desk_at(full) as (link, _):
        page = browser.page(*DESKTOP)
        root = come_in(page, link)
        page.open(f"file://{tmp_path}/other.html")
        for how in ("{}", "{mode: 'no-cors', credentials: 'include'}"):
            told = page.ask(f"fetch('{root}/', {how}).then(a => a.text(), () => 'refused')")
            assert "token" not in told
        posted = (
            f"fetch('{root}/ledger', {{method: 'POST', mode: 'no-cors', credentials: 'include',"
        )
        posted += " body: new URLSearchParams({article: 'a', by: 'b'})}).then(() => 1, () => 0)"
        page.ask(posted)
        page.ask(
            "new Promise(r => { const f = document.createElement('iframe'); "
            f"f.src = '{root}/'; f.onload = r; document.body.append(f); }}).then(() => 1)"
        )
        assert (
            page.ask("(() => { try { return frames[0].document.title } catch { return '' } })()")
            == ""
        )
        heard = f"new Promise(r => {{ const e = new EventSource('{root}/events');"
        heard += " e.onopen = () => r('open'); e.onerror = () => r('refused'); })"
        assert page.ask(heard) == "refused"
        page.close()
    assert not (full / "ledger.jsonl").exists()
    assert {n for n in before if "catalogue" not in n} <= {path.name for path in full.rglob("*")}

"""The whole day in a real browser, from an empty practice campaign to its report.

The rig is the rehearsed one of `tautlog desk --practice`, with the real firmware; the desk is the
command in a process of its own. The crew uses the keyboard alone. With TAUTLOG_VIEWS set to a
folder, a picture of each view is left there; tests/tools/readme_views.py makes README's of them.
"""

import contextlib
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest
from brought_up import REHEARSED, bring_up
from browser import Browser, is_there

from tautlog.cli import run
from tautlog.record import open_record

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(not is_there(), reason="no chromium on this machine"),
    pytest.mark.timeout(1500),
]
DESKTOP, PHONE = (1366, 768), (390, 844)
# What is typed on a day in SI, and on one in pounds and feet; the same rig, about.
SI_DAY = {
    "display": "",
    "weights": ("0", "20", "40", "60", "40", "20", "0"),
    "mass": "kg",
    "pull": {"pulled_n": "3000", "deflection_mm": "1.5", "set_mm": "0.05"},
}
POUNDS_DAY = {
    "display": '\n[display]\nforce = "lbf"\nlength = "ft"\nenergy = "ft lbf"\nmass = "lb"\n',
    "weights": ("0", "45", "90", "130", "90", "45", "0"),
    "mass": "lb",
    "pull": {"pulled_n": "675", "deflection_mm": "0.06", "set_mm": "0.05 mm"},
}


@contextlib.contextmanager
def desk_of_practice(folder):
    """The links of crew and watchers of a desk that practises."""
    told = [sys.executable, "-m", "tautlog", "desk", "--practice"]
    told += ["--port-number", "0", "--watch", "127.0.0.1", "--watch-port", "0"]
    process = subprocess.Popen(
        told, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    try:
        links = {}
        for line in process.stdout:
            links |= dict(re.findall(r"^(crew|watchers) +(http\S+)", line))
            if len(links) == 2:
                break
        assert len(links) == 2, "the desk did not open"
        yield links["crew"], links["watchers"]
    finally:
        process.send_signal(2)
        process.communicate(timeout=60)
        assert process.returncode == 0


class Hands:
    """A page, and what the crew does on it; each step ends when the desk has done it."""

    def __init__(self, page, root, name):
        self.page, self.root, self.name = page, root, name
        self.number = 0

    def open(self, address):
        self.page.do("Page.bringToFront")
        self.page.open(self.root + address)

    def fill(self, **fields):
        """Type into fields, by keys alone."""
        for name, value in fields.items():
            there = f"document.querySelector('main [name={name}]')"
            self.page.until(f"!!{there}")
            self._reach(f"document.activeElement === {there}")
            self.page.ask("document.activeElement.select()")
            self.page.write(value)

    def press(self, words):
        """Press the button with these words by keys alone, once it is there."""
        this = f"document.activeElement.textContent.trim() === {words!r}"
        self.page.until(
            "[...document.querySelectorAll('main button')]"
            f".some(b => b.textContent.trim() === {words!r})"
        )
        self._reach(f"document.activeElement.tagName === 'BUTTON' && {this}")
        self.page.key("Enter")

    def tick(self, wanted):
        """Choose what a selector names, by keys alone."""
        self._reach(f"document.activeElement.matches({wanted!r})")
        self.page.key(" ")

    def _reach(self, wanted):
        if not self.page.ask(wanted):
            self.page.reach(wanted)

    def until(self, words):
        return self.page.until(f"document.querySelector('main').innerText.includes({words!r})")

    def view(self, what):
        """Leave a picture, if somebody wants them."""
        if "TAUTLOG_VIEWS" in os.environ:
            self.number += 1
            folder = Path(os.environ["TAUTLOG_VIEWS"])
            self.page.picture(folder / f"{self.name}_{self.number:02d}_{what}.png")

    def reloaded(self, words):
        """The page says the same after a reload."""
        self.page.ask("window.leaving = true")
        self.page.do("Page.reload")
        self.page.until("!window.leaving && document.readyState === 'complete'")
        self.until(words)


def rig(hands, *words):
    """What hands do at the rehearsed rig."""
    hands.open("/rig")
    for word in words:
        there = "document.querySelector('main input[name=word][type=text]')"
        hands.page.ask(f"{there}.value = {word!r}")
        hands.page.ask(f"{there}.form.requestSubmit()")
        hands.until(f"Done: {word}")


def take(hands, weight, wanted):
    """Take a point; what still swings is refused, and asked for again."""
    taken = "document.querySelectorAll('#piece details').length"
    for _ in range(8):
        hands.page.until("document.getElementById('live').dataset.may === 'yes'")
        hands.fill(mass_kg=weight)
        hands.page.ask("window.leaving = true")
        hands.press("Take this point")
        hands.page.until("!window.leaving && document.readyState === 'complete'")
        if hands.page.ask(taken) >= wanted:
            return
        assert "not steady" in hands.page.ask("document.querySelector('main').innerText")
    raise AssertionError(f"{weight} never hung still")


def calibrate(hands, second, typed):
    hands.open("/calibrate/live")
    hands.tick("button[value=begin]")
    for number, weight in enumerate(typed["weights"]):
        rig(second, f"hang {weight} {typed['mass']}")
        if number == 1:
            second.view("rig")
        hands.page.do("Page.bringToFront")
        take(hands, weight, number + 1)
        if number == 4:
            hands.reloaded("Take this point")
            hands.view("calibrate")
    hands.press("Keep this calibration")
    hands.until("kept")


def pull(hands, typed):
    hands.open("/proof")
    hands.fill(**typed["pull"], held_s="70", by="A. Rigger")
    hands.view("proof")
    hands.press("Enter the pull")
    hands.until("The proof is entered")


def check(hands):
    hands.open("/checklist")
    hands.view("checklist")
    hands.fill(operator="A. Rigger", second="B. Second")
    yes = "[...document.querySelectorAll('main input[value=yes]')].map(i => i.name)"
    for name in hands.page.ask(yes):
        hands.tick(f"[name='{name}'][value=yes]")
    hands.press("Keep the list")
    hands.until("The checklist is complete")


def drop(hands, looker, phone, *, by_hand=False):
    """A drop with a reload in every phase, another browser of the crew, and a watcher's phone."""
    hands.open("/drop")
    hands.press("Look at the board")
    hands.until("Go on to the phrase")
    hands.reloaded("Go on to the phrase")
    hands.view("drop_look")
    hands.press("Go on to the phrase")
    hands.until("Type")
    hands.page.until("!!document.querySelector('[name=phrase]')")
    hands.reloaded("Call off")
    looker.open("/drop")
    assert not looker.page.ask("!!document.querySelector('[name=phrase]')")
    phone.open("/drop")
    assert not phone.page.ask("!!document.querySelector('main form')")
    hands.page.do("Page.bringToFront")
    hands.view("drop_phrase")
    hands.fill(phrase="clear to drop")
    hands.press("Arm")
    hands.page.until("!!document.querySelector('.state.armed')")
    hands.reloaded("CALL OFF")
    hands.view("drop_armed")
    hands.page.until("!!document.querySelector('.state.released')")
    hands.reloaded("Stay out")
    hands.page.until("!!document.getElementById('trace').dataset.drawn")
    hands.page.until("/[1-9] of 7 s/.test(document.querySelector('main').innerText)")
    hands.view("drop_recording")
    hands.page.until("!!document.querySelector('.state.judged')")
    hands.reloaded("Confirmed at the rig")
    hands.view("drop_stay_out")
    phone.page.do("Page.bringToFront")
    phone.page.until("!!document.querySelector('.state.judged')")
    phone.view("drop_stay_out")
    hands.page.do("Page.bringToFront")
    hands.fill(by="A. Rigger")
    hands.press("Confirmed at the rig")
    hands.until("A. Rigger says")


@pytest.mark.parametrize("typed", [SI_DAY, POUNDS_DAY], ids=["si", "pounds"])
def test_a_day_from_the_empty_campaign_to_its_report(tmp_path, capsys, typed):
    folder = tmp_path / "practice"
    assert run(["init", str(folder), "--practice"]) == 0
    with (folder / "campaign.toml").open("a") as file:
        file.write(typed["display"])
    bring_up(folder, REHEARSED)  # by the command it takes minutes, see test_whole_day.py
    with (
        contextlib.closing(Browser(tmp_path / "profile")) as browser,
        contextlib.closing(Browser(tmp_path / "other")) as another,
        desk_of_practice(folder) as (crew_link, watch_link),
    ):
        hands, second = (
            Hands(browser.page(*DESKTOP), crew_link.split("/enter")[0], name)
            for name in ("crew", "rig")
        )
        looker = Hands(another.page(*DESKTOP), hands.root, "looker")
        phone = Hands(another.page(*PHONE, mobile=True), watch_link.split("/enter")[0], "phone")
        everybody = (hands, second, looker, phone)
        for one, link in zip(everybody, (crew_link, crew_link, crew_link, watch_link), strict=True):
            one.page.open(link)
            one.page.until("location.pathname === '/' && !!document.querySelector('main')")
        hands.open("/")
        hands.view("today")
        hands.open("/plan")
        hands.view("plan")
        rig(second, "lower")
        calibrate(hands, second, typed)
        rig(second, "lower", "pull 0")
        pull(hands, typed)
        rig(second, "key off", "coil in", "latch")
        check(hands)
        rig(second, "key on")
        drop(hands, looker, phone)
        (path,) = folder.glob("*.h5")
        record = open_record(path)
        assert (record.status, record.origin) == ("complete", "rehearsed")
        hands.open(f"/drops/{path.stem}")
        hands.page.until("document.querySelector('.curve')?.dataset.state === 'drawn'")
        hands.view("drop_record")
        hands.tick("[name=finding][value=intact]")
        hands.fill(by="A. R.")
        hands.press("Enter the inspection")
        hands.until("The inspection is entered")
        for address in ("/drops", "/ledger", "/steps"):
            hands.open(address)
            hands.view(address.strip("/"))
        hands.open("/report")
        hands.tick("main form button")
        hands.until("The report is written")
        if "TAUTLOG_VIEWS" in os.environ:
            time.sleep(3.0)  # a frame that is sandboxed tells nobody when it is drawn
        hands.view("report")
        for one in everybody:
            # A point that was refused is answered with 400, and the browser says so.
            assert [text for text in one.page.complaints if "(Bad Request)" not in text] == []
            assert "REHEARSAL" in one.page.ask("document.body.innerText")
    assert open_record(path).inspections[-1].finding == "intact"
    assert list(folder.glob("report*.html"))

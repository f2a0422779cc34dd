"""Break wires: which opened first, at what force, and when nobody can tell."""

from dataclasses import replace

import pytest
from traces import BEFORE_S, RATE_HZ, arrest, recorded

from tautlog.analysis.marking import mark
from tautlog.model.trace import DropSetup

SETUP = DropSetup(mass_kg=9.0, height_m=1.2)
BREAK_N = 1200.0


def told(article_s, mount_s):
    """What the marks say of wires that open so long after the break."""
    _, force_n = arrest(9.0, 1.2, 20e3, total_s=2.0, breaks_at_n=BREAK_N)
    break_s = BEFORE_S + int((force_n >= 0.99 * BREAK_N).argmax()) / RATE_HZ
    wires = [None if late is None else break_s + late for late in (article_s, mount_s)]
    trace = replace(recorded(force_n), article_wire_s=wires[0], mount_wire_s=wires[1])
    marks = mark(trace, SETUP, cfc=None)
    assert [marks.article_wire_s, marks.mount_wire_s] == wires
    return [one.text for one in marks.findings if one.code == "wires"]


def test_the_order():
    (text,) = told(-0.0005, 0.0024)
    assert "article opened first" in text
    assert "2.90 ms before that of the mount" in text
    (text,) = told(0.0024, -0.0005)
    assert "mount opened first" in text


def test_the_force_at_that_moment():
    (text,) = told(-1 / RATE_HZ, 0.01)
    assert float(text.split(" s and ")[1].split(" N")[0]) == pytest.approx(BREAK_N, rel=0.03)


@pytest.mark.parametrize("apart", [0, 1, 2])
def test_too_close_to_tell(apart):
    (text,) = told(0.0, apart / RATE_HZ)
    assert "order is not known" in text
    assert "32 us" in text


def test_three_samples_are_told():
    assert "first" in told(0.0, 3.01 / RATE_HZ)[0]


def test_one_wire_and_none():
    (text,) = told(None, 0.0)
    assert text.startswith("the break wire of the mount opened at")
    assert told(None, None) == []

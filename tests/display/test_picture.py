"""Pictures: the words of the verdict, whatever the record holds, and no overwriting."""

import dataclasses

import numpy as np
import pytest
from traces import arrest, recorded

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.archive.assessment import Assessment
from tautlog.archive.verdict_lines import verdict_lines
from tautlog.display.pictures.drop import draw_drop
from tautlog.display.pictures.image import save
from tautlog.errors import RecordError
from tautlog.model.trace import DropSetup, Trace
from tautlog.model.verdict_words import words

SETUP = DropSetup(mass_kg=10.0, height_m=1.0, target_n=1000.0)


def everything():
    _, force = arrest(10.0, 1.0, 5000.0, 0.1)
    good = recorded(force)
    gapped = good.force_n.copy()
    gapped[40_000:45_000] = np.nan
    return {
        "good": good,
        "no release": dataclasses.replace(good, release_time_s=None),
        "reversed": recorded(-force),
        "never taut": recorded(np.zeros(50_000)),
        "gapped": dataclasses.replace(good, force_n=gapped),
        "lost": recorded(np.where(np.arange(force.size) < 30_000, force, 0.0)),
        "one sample": Trace(np.ones(1), 1000.0),
        "nothing": Trace(np.zeros(0), 1000.0),
        "missing": Trace(np.full(500, np.nan), 1000.0),
    }


def assessed(trace, setup):
    marks = mark(trace, setup)
    return Assessment(marks, judge(marks, setup), setup)


def all_texts(figure):
    return " ".join(one.get_text() for one in figure.findobj(lambda one: hasattr(one, "_text")))


@pytest.mark.parametrize("name", everything())
@pytest.mark.parametrize("setup", [SETUP, DropSetup()], ids=["known", "unknown"])
@pytest.mark.rows(6)
def test_every_record_can_be_drawn(name, setup, tmp_path):
    trace = everything()[name]
    one = assessed(trace, setup)
    figure = draw_drop(one, name)
    save(figure, tmp_path / "a.png")
    texts = all_texts(figure)
    for verdict in ("record_verdict", "trace_says", "test_verdict"):
        assert words(getattr(one.verdict, verdict)) in texts
    assert verdict_lines(one)[1] in texts
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")
    with pytest.raises(RecordError, match="exists"):
        save(figure, tmp_path / "a.png")


def test_the_picture_names_what_a_crew_looks_for():
    figure = draw_drop(assessed(everything()["good"], SETUP), "x")
    texts = " ".join(
        t.get_text() for t in figure.findobj(lambda one: hasattr(one, "_text"))
    ).lower()
    for word in ("target", "limit", "peak", "duration", "release", "rest"):
        assert word in texts


def test_every_verdict_has_words():
    for verdict in ("valid", "on-target", "held", "pending", "at-least", "let-go"):
        assert words(verdict) != verdict
    assert words(None) == "load not judged (no target)"

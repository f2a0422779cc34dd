"""Benchmarks run, and README's table is what they found."""

import importlib
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent / "benchmarks"


@pytest.fixture(autouse=True)
def paths(monkeypatch):
    monkeypatch.setattr(sys, "path", [str(FOLDER), str(FOLDER.parent), *sys.path])


def test_the_table_of_readme_is_made_from_the_kept_runs():
    measured = importlib.import_module("measured")
    text = measured.README.read_text(encoding="utf-8")
    assert measured.with_table(text, measured.read_runs()) == text


def test_each_benchmark_can_be_run_and_was():
    every = importlib.import_module("all")
    for name in every.BENCHMARKS:
        module = "independent.campaign" if name == "independent" else name
        assert callable(importlib.import_module(module).figures), name
    kept = list(importlib.import_module("measured").read_runs())
    assert kept == [name for name in every.BENCHMARKS if name in kept]
    assert set(every.BENCHMARKS) - set(kept) <= {"board"}  # it needs images that not all have


def test_the_reception_is_measured(tmp_path):
    found = list(importlib.import_module("receiver").figures(1, str(tmp_path)))
    assert [one.found.split()[-1] for one in found] == ["MB/s", "that", "MB"]


def test_tops_are_counted():
    cut, whole = importlib.import_module("clipping").figures(4)
    assert cut.found.endswith(" of 4")
    assert whole.found.endswith(" of 4")


def test_a_text_without_a_place_for_the_table_is_refused():
    measured = importlib.import_module("measured")
    with pytest.raises(ValueError, match="0 places"):
        measured.with_table("# no table", {})

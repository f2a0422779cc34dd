"""The JSON of a drop: names, their order and values, as scripts and kept marks have them.

tests/data/kept_json.json was written by the program before drops had types of their own (commit
f7873e6), of the records made here. A name more, less or elsewhere is a change of format; those
of the sync flash, of the load rate and of the durations above levels came later.
"""

import contextlib
import io
import json

import pytest
from command_line import said
from made_records import VIRTUAL, made
from made_records import imported as imported_record

from tautlog.cli import run
from tautlog.display.quick_look import mark_new
from tautlog.record import add_marks, open_record

KINDS = ("held", "let-go", "called-off", "unfinished", "rehearsed", "imported", "recalibrated")
# Moments at which something was entered, and what goes with them.
MOMENTS = ("utc", "reckoned_utc", "sha256", "software", "record", "file")
ABOUT = 1e-6  # of a value: another machine's arithmetic
# Friction is what is left of two forces of some 88 N, m g and 2 m h / t**2: nine digits of them.
# What a budget takes from friction is a share of m g.
LEAST = {".friction_n": 1e-7, ".u": 1e-9}


@pytest.fixture(scope="module")
def kite(tmp_path_factory):
    """A campaign with a record of each kind, and what was printed of them, in one order."""
    folder = tmp_path_factory.mktemp("golden") / "kite"
    assert run(["init", str(folder)]) == 0
    for name, options in {
        "held": {},
        "let-go": {"stiffness": 40_000.0, "utc": "2026-03-02T11:00:00.000Z"},
        "called-off": {"status": "aborted", "released": False, "drops": False},
        "unfinished": {"status": "recording"},
        "rehearsed": {"board": VIRTUAL},
        "recalibrated": {"utc": "2026-03-02T12:00:00.000Z"},
    }.items():
        made(folder / f"{name}.h5", **options)
    imported_record(folder, "imported", 900.0, note="a note")
    mark_new(folder / "held.h5")
    return folder, {kind: printed(kind, folder) for kind in KINDS}


def printed(kind, folder):
    """What `tautlog mark --json` prints of a kind; of one of them what a decision prints."""
    path, person = str(folder / f"{kind}.h5"), ["--by", "R. Lead", "--reason", "seen"]
    options = {
        "held": ["--budget"],
        "let-go": ["--cfc", "60", "--zero", "none"],
        "recalibrated": ["--calibration", "own", *person],
    }
    given = ["mark", path, *options.get(kind, []), "--json"]
    if kind == "imported":
        given = ["decide", path, "--verdict", "fail", *person, "--json"]
    with contextlib.redirect_stdout(io.StringIO()) as out:
        assert run(given) == 0
    return json.loads(out.getvalue())


@pytest.mark.parametrize("kind", KINDS)
def test_the_json_is_that_of_before(kind, kite, data):
    folder, told = kite
    golden = json.loads((data / "kept_json.json").read_text())[kind]
    compare(told[kind], golden, kind)
    if kind != "imported":  # whose decision came after its marks
        kept = open_record(folder / f"{kind}.h5").marks[-1].result
        assert json.dumps(kept) == json.dumps(told[kind])


def compare(now, golden, where):
    """Names in their order, kinds of values, values but for moments and rounding."""
    assert type(now) is type(golden), where
    if isinstance(golden, dict):
        assert list(now) == list(golden), where
        for name, value in golden.items():
            if name not in MOMENTS:
                compare(now[name], value, f"{where}.{name}")
    elif isinstance(golden, list):
        assert len(now) == len(golden), where
        for number, (one, two) in enumerate(zip(now, golden, strict=True)):
            compare(one, two, f"{where}[{number}]")
    elif isinstance(golden, float):
        least = LEAST.get(where[where.rfind(".") :], 1e-12)
        assert now == pytest.approx(golden, rel=ABOUT, abs=least), where
    else:
        assert now == golden, where


@pytest.mark.parametrize("cfc", [42, 999_999, 1e9, "x", True, -5])
@pytest.mark.parametrize("zero", ["often", 7])
def test_settings_that_make_no_sense_are_those_of_a_new_record(tmp_path, capsys, cfc, zero):
    record = made(tmp_path / "a.h5")
    add_marks(record, {"cfc": cfc, "zero": zero}, {"cfc": cfc})
    status, out, _ = said(capsys, "mark", record, "--json")
    assert status == 0
    assert (json.loads(out)["cfc"], json.loads(out)["zero"]) == (180, "slack")

"""The public interface: lazy, short, and the same figures as the command line."""

import doctest
import json
import os
import subprocess
import sys

import matplotlib
import numpy as np
import pytest
from command_line import said
from made_records import made
from places import ROOT

import tautlog
from tautlog.errors import CampaignError, RecordError

matplotlib.use("agg")


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    return made(tmp_path_factory.mktemp("records") / "drop.h5")


def test_import_loads_nothing_and_changes_nothing():
    code = (
        "import os, sys; before = dict(os.environ); import tautlog\n"
        "heavy = {'numpy', 'scipy', 'h5py', 'matplotlib', 'click', 'rich'} & set(sys.modules)\n"
        "sys.exit(str(heavy or before != dict(os.environ) or ''))"
    )
    clean = {name: text for name, text in os.environ.items() if "OPENBLAS" not in name}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=clean)
    assert done.stderr.strip() == ""


def test_all_names_are_there_and_no_others():
    for name in tautlog.__all__:
        assert getattr(tautlog, name).__doc__
    assert set(tautlog.__all__) < set(dir(tautlog))
    with pytest.raises(AttributeError, match="no attribute 'measure'"):
        _ = tautlog.measure


def test_examples_in_docstrings_hold():
    from tautlog import notebook

    found = doctest.testmod(notebook)
    assert found.attempted >= 8
    assert found.failed == 0


def test_a_record_says_what_the_command_says(record, capsys):
    drop = tautlog.open(record)
    status, out, _ = said(capsys, "mark", record, "--json")
    assert status == 0
    told = json.loads(out)
    assert drop.marks.peak_force_n == told["peak_force_n"]
    assert drop.verdict.record_verdict == told["record_verdict"]
    assert drop.assess(600).marks.peak_force_n != drop.marks.peak_force_n
    assert drop.time.shape == drop.force().shape == drop.trace.force_n.shape
    assert np.nanmax(drop.force(180)) == pytest.approx(drop.marks.peak_force_n, rel=1e-3)
    assert np.abs(np.nanmean(drop.force(None)[:1000])) < 1.0  # the zero is out of it


def test_what_it_shows_is_short_and_escaped(record, tmp_path):
    drop = tautlog.open(record)
    assert len(repr(drop)) < 80
    assert "<th>peak, N</th><td>18" in drop._repr_html_()
    odd = tmp_path / "<b>&.h5"
    odd.write_bytes(record.read_bytes())
    assert "&lt;b&gt;&amp;.h5" in tautlog.open(odd)._repr_html_()


def test_it_draws_into_given_axes_and_new_ones(record):
    drop = tautlog.open(record)
    axes = drop.plot()
    assert drop.plot(axes, cfc=60, label="class 60") is axes
    assert axes.get_ylabel() == "force, N"
    names = [line.get_label() for line in axes.get_lines()]
    assert {"drop.h5", "class 60", "target", "limit"} <= set(names)
    matplotlib.pyplot.close(axes.figure)


def test_a_frame_needs_pandas_and_says_so(record):
    drop = tautlog.open(record)
    try:
        import pandas
    except ImportError:
        with pytest.raises(ImportError, match="pandas"):
            drop.to_frame()
    else:
        frame = drop.to_frame()
        assert isinstance(frame, pandas.DataFrame)
        assert frame["force_n"].max() == np.nanmax(drop.force())


def test_a_campaign_has_its_records_and_plans(tmp_path, capsys, record):
    assert said(capsys, "init", tmp_path / "kite")[0] == 0
    (tmp_path / "kite" / "drop.h5").write_bytes(record.read_bytes())
    campaign = tautlog.Campaign(tmp_path / "kite")
    assert [drop.name for drop in campaign.records] == ["drop.h5"]
    assert campaign.plan(height_m=1.0).drop.height_m == 1.0
    assert repr(campaign).endswith(", 1 record>")
    with pytest.raises(CampaignError, match="tautlog init"):
        tautlog.Campaign(tmp_path)


@pytest.mark.parametrize("cfc", [0, 100, 1e9, float("nan"), float("inf"), True, "180"])
def test_a_class_that_is_none_is_refused(record, cfc):
    with pytest.raises(ValueError, match="60, 180, 600, 1000"):
        tautlog.open(record).force(cfc)


def test_what_is_no_record_is_refused(tmp_path):
    (tmp_path / "x.h5").write_bytes(b"no HDF5")
    with pytest.raises(RecordError):
        tautlog.open(tmp_path / "x.h5")


def test_a_simulated_fault_is_known_by_its_trace():
    drop = tautlog.simulate(fault="article-parts", seed=5)
    assert drop.verdict.trace_says == drop.truth["trace_says"] == "let-go"
    with pytest.raises(ValueError, match="choose from"):
        tautlog.simulate(fault="gremlin")


@pytest.mark.parametrize("with_records", [True, False])
@pytest.mark.rows(1)
def test_the_example_runs(with_records, record):
    folder = [str(record.parent)] if with_records else []
    done = subprocess.run(
        [sys.executable, str(ROOT / "host" / "examples" / "first_look.py"), *folder],
        capture_output=True,
        text=True,
        cwd=record.parent,
        env={**os.environ, "MPLBACKEND": "agg"},
    )
    assert done.returncode == 0, done.stderr
    assert "10 cm higher" in done.stdout
    assert (record.parent / "first_look.png").stat().st_size > 10_000

"""HDF5 by which two readers see other numbers, or a small file takes all memory or time.

All lie in one campaign beside a good record: each command ends quickly, names every trap, and
shows the rest.
"""

import os
import shutil
import time
from pathlib import Path

import h5py
import numpy as np
import pytest
from command_line import said
from made_records import imported, made

from tautlog.archive.verify import verify
from tautlog.cli import run
from tautlog.errors import RecordError
from tautlog.record import open_record
from tautlog.record.entries import MOST_ENTRIES
from tautlog.record.parts import MOST_ATTRIBUTES

QUICK_S = 2.0  # of the processor


def again(file, name, **more):
    """Take a data set out; what makes it anew in another way."""
    values, attributes = file[name][()], dict(file[name].attrs)
    del file[name]

    def make(values=values, **how):
        file.create_dataset(name, data=values, **{**more, **how})
        file[name].attrs.update(attributes)

    return values, make


def filtered(**filters):
    def change(file):
        _, make = again(file, "trace/counts")
        make(chunks=(1 << 16, 1), **filters)

    return change


def typed(change):
    """The counts by another type that h5py still calls uint16."""

    def put(file):
        values, attributes = file["trace/counts"][()], dict(file["trace/counts"].attrs)
        del file["trace/counts"]
        where = h5py.h5s.create_simple(values.shape)
        made = h5py.h5d.create(file["trace"].id, b"counts", change(), where)
        made.write(h5py.h5s.ALL, h5py.h5s.ALL, values, h5py.h5t.NATIVE_UINT16)
        file["trace/counts"].attrs.update(attributes)

    return put


def twelve_bits():
    kind = h5py.h5t.STD_U16LE.copy()
    kind.set_precision(12)
    return kind


def enumerated():
    return h5py.h5t.py_create(h5py.enum_dtype({"LOW": 1}, basetype="<u2"), logical=True)


def unwritten(file):
    """Lines without a fill value: a reader gets what its memory holds."""
    values, attributes = file["trace/counts"][()], dict(file["trace/counts"].attrs)
    del file["trace/counts"]
    plan = h5py.h5p.create(h5py.h5p.DATASET_CREATE)
    plan.set_chunk((1 << 12, 1))
    plan.set_fill_time(h5py.h5d.FILL_TIME_NEVER)
    where = h5py.h5s.create_simple(values.shape)
    h5py.h5d.create(file["trace"].id, b"counts", h5py.h5t.STD_U16LE, where, plan)
    file["trace/counts"].attrs.update(attributes)


def filled(file):
    """Lines that nobody wrote, and a value of the forger's in their place."""
    values, make = again(file, "trace/counts")
    make(values=None, shape=values.shape, dtype="<u2", chunks=(1 << 12, 1), fillvalue=7)


def tiny_chunks(file):
    _, make = again(file, "trace/counts")
    make(values=None, shape=(1 << 20, 1), dtype="<u2", chunks=(1, 1))


def sparse_table(name, lines):
    def change(file):
        _, attributes = file[name][()], dict(file[name].attrs)
        kind = file[name].dtype
        del file[name]
        plan = h5py.h5p.create(h5py.h5p.DATASET_CREATE)
        plan.set_alloc_time(h5py.h5d.ALLOC_TIME_EARLY)
        plan.set_fill_time(h5py.h5d.FILL_TIME_NEVER)
        where = h5py.h5s.create_simple((lines,) if name != "trace/counts" else (lines, 1))
        place = name.encode()
        h5py.h5d.create(file.id, place, h5py.h5t.py_create(kind), where, plan)
        file[name].attrs.update(attributes)

    return change


def linked(name, link):
    def change(file):
        if name in file:
            del file[name]
        file[name] = link

    return change


def names(count):
    def change(file):
        file["setup"].attrs.create("note", ["x"] * count, dtype=h5py.string_dtype())

    return change


def many_attributes(file):
    for number in range(MOST_ATTRIBUTES):
        file["setup"].attrs[f"x{number}"] = number


def many_entries(file):
    for number in range(1, MOST_ENTRIES + 2):
        file.create_group(f"marks/{number}")


def reference(kind):
    def change(file):
        pointed = file["setup"].ref if kind is h5py.ref_dtype else file["events"].regionref[0:1]
        file["setup"].attrs.create("note", pointed, dtype=kind)

    return change


TRAPS = {
    "scale-offset": (filtered(scaleoffset=4), "has the filter 6"),
    "lzf": (filtered(compression="lzf"), "has the filter 32000"),
    "type of 12 bits": (typed(twelve_bits), "expected exactly uint16"),
    "enumeration": (typed(enumerated), "expected exactly uint16"),
    "never written": (unwritten, "never written"),
    "fill value": (filled, "never written"),
    "tiny chunks": (tiny_chunks, "1048576 chunks"),
    "sparse blocks": (sparse_table("trace/blocks", 200_000_000), "mostly holes"),
    "sparse counts": (sparse_table("trace/counts", 1 << 31), "mostly holes"),
    "table of blocks": (sparse_table("trace/blocks", (1 << 21) + 1), "are read"),
    "marks elsewhere": (linked("marks", h5py.SoftLink("/setup")), "is a link"),
    "mark elsewhere": (linked("marks/1", h5py.SoftLink("/setup")), "is a link"),
    "mark of another file": (linked("marks/1", h5py.ExternalLink("good.h5", "/marks/1")), "link"),
    "inspections in a pipe": (linked("inspections", h5py.ExternalLink("pipe", "/")), "is a link"),
    "channels in a pipe": (linked("channels", h5py.ExternalLink("pipe", "/")), "is a link"),
    "values in a pipe": (linked("trace/values", h5py.ExternalLink("pipe", "/")), "is a link"),
    "trace in a pipe": (linked("trace", h5py.ExternalLink("pipe", "/")), "is a link"),
    "setup in a circle": (linked("setup", h5py.SoftLink("/setup")), "is a link"),
    "long text": (lambda file: file["setup"].attrs.create("note", "x" * (9 << 20)), "bytes, allo"),
    "many names": (names(65), "has the shape"),
    "many attributes": (many_attributes, "attributes, allowed are"),
    "many entries": (many_entries, "entries, allowed are"),
    "reference": (reference(h5py.ref_dtype), "is of type"),
    "region": (reference(h5py.regionref_dtype), "is of type"),
}


@pytest.fixture(scope="module")
def trapped(tmp_path_factory):
    """A campaign with one good record and every trap beside it."""
    folder = tmp_path_factory.mktemp("trapped")
    (folder / "campaign.toml").touch()
    whole = made(folder / "good.h5")
    assert run(["show", str(whole), "--out", str(folder / "p.png")]) == 0  # imports take seconds
    os.mkfifo(folder / "pipe")
    for name, (change, _) in TRAPS.items():
        path = Path(shutil.copy(whole, folder / f"{name.replace(' ', '_')}.h5"))
        with h5py.File(path, "r+", libver="latest") as file:
            change(file)
    return folder


def path_of(folder, trap):
    return folder / f"{trap.replace(' ', '_')}.h5"


@pytest.mark.parametrize("trap", TRAPS)
def test_a_trap_is_one_clear_line_soon(trapped, capsys, trap):
    path = path_of(trapped, trap)
    began = time.process_time()
    with pytest.raises(RecordError, match=TRAPS[trap][1]) as caught:
        open_record(path)
    assert caught.value.path == str(path)
    for command, *more in (("mark",), ("show", "--out", "p.png"), ("export",), ("recover",)):
        status, _, err = said(capsys, command, path, *more)
        assert status == 1
        assert path.name in err
        assert "Traceback" not in err
    assert time.process_time() - began < QUICK_S


@pytest.mark.parametrize("command", ["list", "verify", "ledger", "report"])
def test_a_folder_of_traps_shows_the_rest_and_names_each(trapped, capsys, monkeypatch, command):
    monkeypatch.chdir(trapped)
    began = time.process_time()
    status, out, err = said(capsys, command, *(("--out", "r.html") * (command == "report")))
    took_s = time.process_time() - began
    told = out + err + (Path("r.html").read_text() if command == "report" else "")
    assert status in (0, 1)
    assert "Traceback" not in told
    if command != "ledger":
        assert [trap for trap in TRAPS if path_of(trapped, trap).stem not in told] == []
    if command in ("list", "report"):
        assert "good" in told
    assert took_s < QUICK_S + QUICK_S * (command == "report")  # it draws the good one


def test_no_trap_is_intact(trapped):
    assert {one.path.stem for one in verify([trapped]) if one.state == "intact"} == {"good"}


@pytest.mark.parametrize("filters", [{"compression": "gzip", "shuffle": True}, {"fletcher32": 1}])
def test_filters_that_lose_nothing_change_nothing(tmp_path, filters):
    path = made(tmp_path / "drop.h5")
    with h5py.File(path, "r+") as file:
        filtered(**filters)(file)
    assert open_record(path).verify_seal().state == "intact"


def test_a_committed_type_changes_nothing(tmp_path):
    """A plain reader sees the same numbers."""
    path = made(tmp_path / "drop.h5")
    with h5py.File(path, "r+") as file:
        file["kind"] = np.dtype("<u2")
        _, make = again(file, "trace/counts")
        make(dtype=file["kind"])
    assert open_record(path).verify_seal().state == "intact"


def test_one_text_under_many_names_is_not_unfolded(tmp_path):
    """The heap keeps it once; each entry that names it would take its length."""
    path = imported(tmp_path, "drop", 900.0)
    with h5py.File(path, "r+") as file:
        for number in range(1, 20):
            file.create_group(f"marks/{number}").attrs["result_json"] = "x" * (4 << 20)
    with pytest.raises(RecordError, match=r"characters|lines|damaged"):
        open_record(path)

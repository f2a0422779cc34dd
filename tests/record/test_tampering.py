"""A record that was changed after it was sealed is told, and never sealed again."""

import h5py
import numpy as np
import pytest
from command_line import said
from made_records import made

import tautlog.record.seal as seals
from tautlog.archive.summary import summary_of
from tautlog.archive.verify import verify
from tautlog.errors import RecordError
from tautlog.record import RecordWriter, add_marks, open_record
from tautlog.record.entry_seals import seals_in


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    return made(tmp_path_factory.mktemp("whole") / "drop.h5").read_bytes()


@pytest.fixture
def path(whole, tmp_path):
    """A finished record, to be changed."""
    copy = tmp_path / "drop.h5"
    copy.write_bytes(whole)
    return copy


def verdict(path):
    (one,) = verify([path])
    return one


# It says that it is being recorded


def older(file):
    """Of an older program, whose seals do not cover the status."""
    del file.attrs["seal_version"]
    seals.put_seal(file)


def unseal(file):
    del file.attrs["seal_sha256"]


@pytest.mark.parametrize(
    "change", [lambda file: None, older, unseal], ids=["sealed", "older", "seal removed"]
)
def test_a_sealed_record_that_says_recording_is_told_and_not_sealed_again(path, capsys, change):
    with h5py.File(path, "r+") as file:
        change(file)
        file.attrs["status"] = "recording"
        file["trace/counts"][0] += 1
    before = path.read_bytes()
    record = open_record(path)
    assert not record.unfinished
    check = record.verify_seal()
    assert check.state == "broken"
    assert "the status of the recording" in check.differs
    assert verdict(path).state == "broken"
    status, _, err = said(capsys, "recover", path)
    assert status == 1
    assert 'has status "recording" but was sealed' in err
    assert path.read_bytes() == before


def test_an_older_seal_that_fits_is_none_of_a_record_that_says_recording(path):
    """The seal covers all but the status, and would be intact."""
    with h5py.File(path, "r+") as file:
        older(file)
        file.attrs["status"] = "recording"
    assert open_record(path).verify_seal().differs == ("the status of the recording",)
    assert verdict(path).state == "broken"


def forget_seal(path):
    with h5py.File(path, "r+") as file:
        file.attrs["status"] = "recording"
        del file.attrs["seal_sha256"], file.attrs["seal_parts_json"]


def test_a_seal_that_the_chain_knows_is_not_made_again(tmp_path):
    (tmp_path / "campaign.toml").touch()
    path = made(tmp_path / "drop.h5")
    forget_seal(path)
    with pytest.raises(RecordError, match="was sealed"):
        RecordWriter.resume(path)


def test_a_seal_that_an_entry_followed_is_not_made_again(path):
    add_marks(path, {}, {})
    forget_seal(path)
    with pytest.raises(RecordError, match="was sealed"):
        RecordWriter.resume(path)


def test_marks_of_an_unfinished_record_do_not_stop_its_recovery(tmp_path):
    path = made(tmp_path / "drop.h5", status="recording")
    add_marks(path, {}, {})
    assert open_record(path).unfinished
    RecordWriter.resume(path).finish("recovered")
    assert open_record(path).verify_seal().state == "intact"


# A plain reader sees other numbers


def stored_as(name, dtype, change=lambda values: values):
    """Put another data set in the place of one, with the same attributes."""

    def put(file):
        values, attributes = file[name][()], dict(file[name].attrs)
        del file[name]
        file.create_dataset(name, data=change(values.astype(dtype)))
        for one, value in attributes.items():
            file[name].attrs[one] = value

    return put


BLOCKS = [("block", "<i8"), ("row", "<u8"), ("stamp_us", "<u4"), ("flags", "<u2"), ("lost", "<u2")]

EVENTS = [
    ("number", "<u4"),
    ("name", "S32"),
    ("sample_index", "<i8"),
    ("stamp_us", "<u4"),
    ("value", "<f8"),
]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        # These were hashed after they had been made uint16, and the seal held.
        (
            stored_as("trace/counts", "i4", lambda counts: counts + 65536),
            "holds int32, expected exactly uint16",
        ),
        (stored_as("trace/counts", "f8", lambda counts: counts + 0.75), "holds float64, expected"),
        (stored_as("trace/counts", ">u2"), "holds >u2, expected exactly uint16"),
        (stored_as("trace/blocks", BLOCKS), "/trace/blocks holds"),
        (stored_as("events", EVENTS), "/events holds"),
        (stored_as("trace/counts", "<u2", lambda counts: counts[:, 0]), "has the shape"),
    ],
)
def test_another_type_is_not_what_was_sealed(path, capsys, change, words):
    with h5py.File(path, "r+") as file:
        change(file)
    with pytest.raises(RecordError, match="is damaged") as caught:
        open_record(path)
    assert words in str(caught.value)
    assert verdict(path).state == "unreadable"
    status, _, err = said(capsys, "show", path, "--no-window")
    assert status
    assert "Traceback" not in err


def attribute(place, name, value):
    return lambda file: file[place].attrs.__setitem__(name, value)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (attribute("trace/counts", "reduction", 4), "the attributes of the samples"),
        (attribute("trace/counts", "reduction", 8.0), "the attributes of the samples"),
        (attribute("trace/counts", "sample_rate_hz", 31250.0), "the attributes of the samples"),
        (attribute("trace/counts", "converter_bits", 14), "the attributes of the samples"),
        (attribute("trace/counts", "scale_factor", 2.0), "the attributes of the samples"),
        (attribute("trace/blocks", "scale_factor", 2.0), "the attributes of the table of blocks"),
        (attribute("events", "add_offset", 5), "the attributes of the events"),
        (attribute("trace", "scale_factor", 2.0), "the attributes of the trace"),
        (attribute("calibration", "reference_v", 3.0), "the calibration"),
    ],
)
def test_another_scale_is_not_what_was_sealed(path, change, words):
    with h5py.File(path, "r+") as file:
        change(file)
    check = open_record(path).verify_seal()
    assert (check.state, check.differs) == ("broken", (words,))
    assert verdict(path).state == "broken"


@pytest.mark.parametrize("parts", ['{"samples": "06b5115916ace5b6"}', '{"samples": '])
def test_what_names_the_parts_of_a_seal_is_not_changed_unseen(path, parts):
    """Found by mutations: the seal leaves it out, and so the record was intact."""
    with h5py.File(path, "r+") as file:
        file.attrs["seal_parts_json"] = parts
    check = open_record(path).verify_seal()
    assert check.state == "broken"
    assert "the names of the seal's parts" in check.differs[0]
    assert verdict(path).state == "broken"


def test_a_record_packed_anew_is_still_intact(path):
    """What a plain reader sees is the same."""
    with h5py.File(path, "r+") as file:
        values, attributes = file["trace/counts"][()], dict(file["trace/counts"].attrs)
        del file["trace/counts"]
        file.create_dataset("trace/counts", data=values, compression="gzip", shuffle=True)
        for one, value in attributes.items():
            file["trace/counts"].attrs[one] = value
    assert verdict(path).state == "intact"
    np.testing.assert_array_equal(open_record(path).counts(), values)
    assert summary_of(path).problem == ""


# What HDF5 keeps for itself


def test_a_file_that_a_plain_reader_cannot_walk_through_is_told(path):
    """All that is sealed can still be read by its name, and h5py's own `visit` fails."""
    content = bytearray(path.read_bytes())
    hurt = content.index(b"FSHD") + 20  # of the room that is left for attributes
    content[hurt] ^= 0xFF
    path.write_bytes(content)
    with h5py.File(path, "r") as file, pytest.raises(RuntimeError):
        file.visit(lambda _: None)
    check = verdict(path)
    assert check.state == "broken"
    assert "HDF5's own tables" in check.text
    assert open_record(path).trace().force_n.size > 0


def test_the_number_of_an_entry_is_a_number_even_if_it_says_true():
    (one,) = seals_in({("decisions", 1): {"seal_sha256": "3b", "entry": True}})
    assert [f"{part}" for part in one] == ["decisions/1", "1", "3b"]

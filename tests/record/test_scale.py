"""What turns counts into newtons is in the record, or nothing is said of the force."""

import h5py
import pytest
from made_records import made

from tautlog.errors import RecordError
from tautlog.record import open_record


@pytest.mark.parametrize("name", ["newton_per_volt", "reference_v", "converter_bits"])
def test_no_scale_is_assumed(tmp_path, name):
    path = made(tmp_path / "a.h5")
    with h5py.File(path, "a") as file:
        del file["calibration"].attrs[name]
    with pytest.raises(RecordError, match=name):
        open_record(path)


@pytest.mark.parametrize(
    ("name", "value"), [("filter_poles", 1_000_000), ("converter", "RP9999"), ("converter", "{")]
)
def test_nonsense_of_the_chain_is_refused(tmp_path, name, value):
    path = made(tmp_path / "a.h5")
    with h5py.File(path, "a") as file:
        file["calibration"].attrs[name] = value
    with pytest.raises(RecordError):
        open_record(path)

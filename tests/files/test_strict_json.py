"""A text of JSON from outside ends in a value or in one typed error."""

import contextlib
import json

import h5py
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tautlog.board.messages import parse
from tautlog.campaign.proofs import Proof, read_proofs
from tautlog.errors import CampaignError, JsonError
from tautlog.files.json_lines import read_standing
from tautlog.files.strict_json import MAX_DEPTH, read_json, read_object
from tautlog.firmware import wire
from tautlog.record import entries

DEEP = "[" * 100_000 + "]" * 100_000
PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=20,
)  # fmt: skip


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (DEEP, "nests deeper"),
        ('{"a":' * 5000 + "1" + "}" * 5000, "nests deeper"),
        ("[" * 40 + "]" * 40, "nests deeper"),
        ('{"a": NaN}', "NaN"),
        ('{"a": [-Infinity]}', "Infinity"),
        ('{"a": 1e999}', "1e999"),
        ('{"a": 1, "b": {"c": 1, "c": 2}}', "'c' occurs twice"),
        ("1" * 5000, "too large for a number"),
        ('{"a": -1' + "0" * 400 + "}", "too large for a number"),
        ('{"a": 1', "delimiter"),
        (b"\xff\xfe", "utf-8"),
        ("", "Expecting value"),
    ],
)
def test_what_is_not_taken_is_named_with_its_place(text, fault):
    with pytest.raises(JsonError, match=fault) as raised:
        read_json(text, "some.jsonl", 7)
    assert str(raised.value).startswith("some.jsonl line 7 ")


def test_the_depth_is_bounded_where_it_is_said_to_be():
    read_json("[" * MAX_DEPTH + "]" * MAX_DEPTH)
    with pytest.raises(JsonError, match="nests deeper"):
        read_json("[" * (MAX_DEPTH + 1) + "]" * (MAX_DEPTH + 1))


@given(PLAIN)
def test_what_python_writes_is_read_as_python_reads_it(value):
    text = json.dumps(value)
    assert read_json(text) == json.loads(text)
    assert read_json(text.encode()) == json.loads(text)


@given(st.binary(max_size=40) | st.text(alphabet='[]{}",:1eNaInfity-. \\', max_size=40))
def test_any_text_is_a_value_or_the_typed_error(text):
    with contextlib.suppress(JsonError):
        read_json(text)


def test_an_object_is_asked_for_and_nothing_else_is_taken():
    assert read_object('{"a": 1}') == {"a": 1}
    with pytest.raises(JsonError, match="not a JSON object"):
        read_object("[1]")


def test_a_deep_line_of_proofs_is_named_and_can_be_superseded(tmp_path):
    (tmp_path / "proofs.jsonl").write_text(DEEP + "\n")
    with pytest.raises(CampaignError, match=r"proofs\.jsonl line 1 .*nests deeper"):
        read_proofs(tmp_path)


def test_a_doubled_key_of_a_line_is_refused(tmp_path):
    path = tmp_path / "proofs.jsonl"
    path.write_text('{"mount": "M", "pulled_n": 10.0, "pulled_n": 9000.0}\n')
    with pytest.raises(CampaignError, match=r"line 1 .*'pulled_n' occurs twice"):
        read_standing(path, Proof, "proof")


def test_a_deep_answer_of_a_board_is_nonsense():
    assert parse(wire.ANSWER, memoryview(DEEP.encode()), 64) is None


def test_a_deep_text_in_a_record_is_an_error_of_its_kind(tmp_path):
    with h5py.File(tmp_path / "a.h5", "w") as file:
        run = file.create_group("marks/1")
        run.attrs["settings_json"], run.attrs["result_json"] = "{}", '{"a":' + DEEP[:60000] + "}"
        with pytest.raises(ValueError, match="not valid JSON"):
            entries.marks_in(entries.read_entries(file))

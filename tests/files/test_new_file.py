"""Files that replace others: nothing is ever lost."""

import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tautlog.errors import RecordError
from tautlog.files.new_file import replacing_file


@given(contents=st.lists(st.binary(max_size=20), min_size=1, max_size=6))
def test_every_content_is_kept_in_order(tmp_path_factory, contents):
    path = tmp_path_factory.mktemp("kept") / "report.html"
    places = [replacing_file(path, content) for content in contents]
    assert places == [
        None,
        *(path.with_name(f"report-{n}.html") for n in range(1, len(contents))),
    ]
    assert path.read_bytes() == contents[-1]
    assert [place.read_bytes() for place in places[1:]] == contents[:-1]
    assert sorted(path.parent.iterdir()) == sorted([path, *places[1:]])


def test_a_number_that_is_taken_is_passed_over(tmp_path):
    path, taken = tmp_path / "r.pdf", tmp_path / "r-1.pdf"
    path.write_bytes(b"old")
    taken.write_bytes(b"of somebody")
    assert replacing_file(path, b"new") == tmp_path / "r-2.pdf"
    assert taken.read_bytes() == b"of somebody"


@pytest.mark.parametrize("taken", [(), ("r-1.pdf",)])
def test_a_disk_without_links_keeps_it_too(tmp_path, monkeypatch, taken):
    def refused(*_):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refused)
    path = tmp_path / "r.pdf"
    path.write_bytes(b"old")
    for name in taken:
        (tmp_path / name).write_bytes(b"of somebody")
    kept = replacing_file(path, b"new")
    assert kept == tmp_path / f"r-{1 + len(taken)}.pdf"
    assert (kept.read_bytes(), path.read_bytes()) == (b"old", b"new")


def test_a_folder_is_not_replaced(tmp_path):
    (tmp_path / "r.pdf").mkdir()
    with pytest.raises(RecordError, match="is no file"):
        replacing_file(tmp_path / "r.pdf", b"new")


def test_a_disk_that_refuses_leaves_the_old_one_in_place(tmp_path):
    with pytest.raises(RecordError, match="cannot be written"):
        replacing_file(tmp_path / "nowhere" / "r.pdf", b"new")

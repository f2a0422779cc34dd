"""Keeping: seals and chain, the catalogue, and export to open formats."""

import csv
import json
import os
import shutil
import sqlite3

import h5py
import numpy as np
import pytest
import pyuff
from command_line import said
from made_records import imported, made

from tautlog.archive.assess import assess
from tautlog.archive.catalogue import FILE_NAME, Query, catalogued, chosen
from tautlog.archive.summary import summary_of
from tautlog.cli import run
from tautlog.cli.output import plain_cell
from tautlog.display.quick_look import mark_new
from tautlog.drop.recovery import complete
from tautlog.files import chain
from tautlog.files.chain import last_seal, read_chain
from tautlog.record import open_record


@pytest.fixture
def kite(tmp_path, monkeypatch, capsys):
    """A campaign of three records."""
    assert run(["init", str(tmp_path / "kite")]) == 0
    folder = tmp_path / "kite"
    monkeypatch.chdir(folder)
    for name, peak, article in (("one", 900.0, "a"), ("two", 1500.0, "b"), ("three", 1200.0, "a")):
        mark_new(imported(folder, name, peak, article), cfc=60)
    capsys.readouterr()
    return folder


def test_all_intact(kite, capsys):
    status, out, _ = said(capsys, "verify")
    assert status == 0
    assert out.splitlines()[0] == "3 intact"
    assert out.splitlines()[1:] == [f"head of the chain in {kite}: {read_chain(kite).head}"]
    there = read_chain(kite)
    assert [one.kind for one in there.links] == ["begun", *["record", "entry"] * 3]
    assert [one.name for one in there.records] == ["one.h5", "two.h5", "three.h5"]
    assert [one.before for one in there.links[1:]] == list(there.heads[:-1])
    three = open_record(kite / "three.h5")
    assert (three.previous_seal, three.chain_head) == (there.records[1].sha256, there.heads[4])


def test_marks_and_inspections_change_no_seal(kite, capsys):
    said(capsys, "mark", "one.h5")
    said(capsys, "inspect", "one.h5", "--found", "intact", "--by", "A")
    assert said(capsys, "verify")[0] == 0


def test_a_flipped_bit_shows(kite, capsys):
    path = kite / "two.h5"
    content = path.read_bytes()
    at = content.index(np.float64(open_record(path).trace().force_n[530]).tobytes())
    path.write_bytes(content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :])
    status, out, err = said(capsys, "verify")
    assert status == 1
    assert "broken: changed since it was sealed: the samples (" in out
    assert "two.h5" in err


@pytest.mark.parametrize(
    ("place", "name", "value", "words"),
    [
        ("setup", "mass_kg", 9.5, "the set-up"),
        ("calibration", "newton_per_volt", 2.0, "the calibration"),
        ("trace/values", "unit", "kN", "the attributes of the samples"),
        ("/", "utc", "2020", "identity, time or campaign of the record"),
        ("/", "seal_sha256", "0" * 64, "the seal itself"),
        (
            "/",
            "seal_parts_json",
            "[]",
            "the names of the seal's parts, which the seal does not cover",
        ),
    ],
)
def test_it_is_told_what_differs(kite, capsys, place, name, value, words):
    with h5py.File(kite / "two.h5", "r+") as file:
        file[place].attrs[name] = value
    status, out, _ = said(capsys, "verify", "two.h5")
    assert status == 1
    assert f"changed since it was sealed: {words} (" in out


def test_a_record_sealed_without_parts_is_judged_all_the_same(kite, capsys):
    with h5py.File(kite / "two.h5", "r+") as file:
        del file.attrs["seal_parts_json"]
    assert said(capsys, "verify", "two.h5")[0] == 0
    with h5py.File(kite / "two.h5", "r+") as file:
        file["setup"].attrs["mass_kg"] = 8.0
    assert "changed since it was sealed: samples, events," in said(capsys, "verify", "two.h5")[1]


@pytest.mark.parametrize(
    ("change", "state"),
    [
        (lambda folder: (folder / "two.h5").unlink(), "missing"),
        (lambda folder: os.replace(folder / "three.h5", folder / "two.h5"), "swapped"),
        (lambda folder: (folder / "two.h5").write_bytes(b"nothing"), "unreadable"),
    ],
)
def test_what_was_taken_or_put_there_shows(kite, capsys, change, state):
    change(kite)
    status, out, _ = said(capsys, "verify", "--json")
    assert status == 1
    assert state in {one["state"] for one in json.loads(out)}


def test_a_record_taken_from_file_and_chain_shows(kite, capsys):
    (kite / "two.h5").unlink()
    chain = kite / "chain.jsonl"
    lines = chain.read_text().splitlines(keepends=True)
    chain.write_text("".join(line for line in lines if "two.h5" not in line))
    status, out, _ = said(capsys, "verify")
    assert status == 1
    assert "three.h5: missing" in out
    chain.unlink()
    status, out, _ = said(capsys, "verify")
    assert status == 1
    assert "is gone, and so is its line" in out


def test_a_drop_recovered_after_the_next_one_changes_no_chain(kite, capsys):
    killed = made(kite / "killed.h5", status="recording")
    made(kite / "next.h5")
    assert complete(killed).path == killed
    made(kite / "last.h5")
    links = read_chain(kite).records
    assert [one.name for one in links[-3:]] == ["next.h5", "killed.h5", "last.h5"]
    assert open_record(killed).previous_seal == links[2].sha256
    status, out, _ = said(capsys, "verify")
    assert (status, out.splitlines()[0]) == (0, "6 intact")


def older_chain(folder):
    """The chain as programs before links with `before` wrote it; the records say nothing of it."""
    from tautlog.record.seal import put_seal

    links, last = [], ""
    for path in map(folder.joinpath, [one.name for one in read_chain(folder).records]):
        with h5py.File(path, "r+") as file:
            if "chain_sha256" in file.attrs:
                del file.attrs["chain_sha256"]
            file.attrs["previous_seal_sha256"] = last
            for name in ("entry", "previous_sha256", "seal_sha256"):
                del file["marks/1"].attrs[name]
            del file.attrs["seal_version"]
            put_seal(file)
            seal = file.attrs["seal_sha256"]
            one = {"name": path.name, "record_id": file.attrs["record_id"].decode(), "seal": seal}
        links.append({**one, "previous": last, "after": last})
        last = seal
    return links


def write_chain(folder, links):
    (folder / "chain.jsonl").write_text("".join(json.dumps(one) + "\n" for one in links))


@pytest.mark.parametrize("without", [None, 0, 1, 2])
def test_every_line_taken_from_an_older_chain_shows_but_the_last(kite, capsys, without):
    links = older_chain(kite)
    gone = [] if without is None else [links.pop(without)]
    write_chain(kite, links)
    status, out, _ = said(capsys, "verify")
    assert status == (1 if without in (0, 1) else 0)
    assert all(f"{one['name']}: unchained" in out for one in gone)


def test_what_follows_an_older_chain_covers_all_of_it(kite, capsys):
    links = older_chain(kite)
    write_chain(kite, links)
    said(capsys, "ledger", "--add", "--by", "A", "--article", "a")
    made(kite / "four.h5")
    there = read_chain(kite)
    assert [one.kind for one in there.links[3:]] == ["begun", "line", "record"]
    assert said(capsys, "verify")[0] == 0
    lines = (kite / "chain.jsonl").read_bytes().split(b"\n")
    (kite / "chain.jsonl").write_bytes(b"\n".join(lines[1:]))
    status, out, _ = said(capsys, "verify")
    assert status == 1
    assert "chain.jsonl: missing: the chain before it was changed" in out


@pytest.mark.parametrize("without", range(6))
def test_every_line_taken_from_a_chain_shows_but_the_last(kite, capsys, without):
    chain = kite / "chain.jsonl"
    lines = chain.read_bytes().splitlines(keepends=True)
    assert len(lines) == 7
    del lines[without]
    chain.write_bytes(b"".join(lines))
    status, out, _ = said(capsys, "verify")
    assert status == 1
    assert "the chain before it was changed" in out


def test_two_lines_of_a_chain_in_each_others_place_show(kite, capsys):
    chain = kite / "chain.jsonl"
    lines = chain.read_text().splitlines(keepends=True)
    lines[1], lines[3] = lines[3], lines[1]
    chain.write_text("".join(lines))
    status, out, _ = said(capsys, "verify")
    assert status == 1
    assert "the chain before it was changed" in out


def test_a_line_cut_short_does_not_take_the_next_one_with_it(kite, capsys):
    with (kite / "chain.jsonl").open("a") as chain:
        chain.write('{"name": "four.h5", "rec')
    made(kite / "five.h5")
    assert [one.name for one in read_chain(kite).records][-1] == "five.h5"


def test_outside_a_campaign_there_is_no_chain(tmp_path, capsys):
    path = imported(tmp_path, "lone", 900.0)
    assert not (tmp_path / "chain.jsonl").exists()
    assert said(capsys, "verify", path)[0] == 0
    assert said(capsys, "verify", tmp_path / "nowhere")[0] == 1


# Catalogue


def test_the_catalogue_says_what_the_files_say(kite):
    first = catalogued(kite)
    assert first == catalogued(kite)
    assert first == [summary_of(kite / f"{name}.h5") for name in ("one", "two", "three")]
    mark_new(kite / "one.h5", cfc=None)
    (kite / "two.h5").unlink()
    after = {one.name: one for one in catalogued(kite)}
    assert set(after) == {"one", "three"}
    assert after["one"].peak_force_n is not None


@pytest.mark.parametrize("content", [b"", b"no database at all" * 100])
def test_a_damaged_catalogue_is_made_again(kite, content):
    before = catalogued(kite)
    (kite / FILE_NAME).write_bytes(content)
    assert catalogued(kite) == before
    with sqlite3.connect(kite / FILE_NAME) as database:
        assert database.execute("SELECT count(*) FROM contents").fetchone() == (3,)


@pytest.fixture
def opened(monkeypatch):
    """Names of the files that are looked into."""
    names = []

    def look(path):
        names.append(path.name)
        return summary_of(path)

    monkeypatch.setattr("tautlog.archive.catalogue.summary_of", look)
    return names


def test_what_bytes_say_is_known_by_any_name(kite, opened):
    catalogued(kite)
    assert sorted(opened) == ["one.h5", "three.h5", "two.h5"]
    opened.clear()
    (kite / "one.h5").rename(kite / "renamed.h5")
    os.utime(kite / "two.h5")
    shutil.copy(kite / "three.h5", kite / "copy.h5")
    assert [one.name for one in catalogued(kite)] == ["renamed", "two", "copy", "three"]
    assert opened == []


def test_verify_reads_every_byte_also_under_the_same_name_size_and_time(kite, opened, capsys):
    assert said(capsys, "verify")[0] == 0
    opened.clear()
    assert said(capsys, "verify")[1].startswith("3 intact\n")
    assert opened == []
    path = kite / "two.h5"
    before = path.stat()
    content = path.read_bytes()
    at = content.index(np.float64(open_record(path).trace().force_n[530]).tobytes())
    path.write_bytes(content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :])
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert said(capsys, "verify")[0] == 1
    assert opened == ["two.h5"]
    path.write_bytes(content)
    assert said(capsys, "verify")[0] == 0


def test_verify_anew_believes_no_catalogue(kite, opened, capsys):
    assert said(capsys, "verify")[0] == 0
    with sqlite3.connect(kite / FILE_NAME) as database:
        database.execute("UPDATE contents SET summary = replace(summary, 'complete', 'forged')")
    opened.clear()
    assert said(capsys, "verify", "--anew")[0] == 0
    assert sorted(opened) == ["one.h5", "three.h5", "two.h5"]


def test_a_problem_that_passes_is_not_kept(kite):
    bad = kite / "bad.h5"
    bad.write_bytes(b"x")
    assert catalogued(kite)[-1].problem
    before = bad.stat()
    bad.write_bytes(b"y")
    os.utime(bad, ns=(before.st_atime_ns, before.st_mtime_ns))
    with sqlite3.connect(kite / FILE_NAME) as database:
        assert database.execute("SELECT name FROM files WHERE name = 'bad.h5'").fetchall() == []


def test_verify_leaves_no_catalogue_beside_a_record_that_is_named(tmp_path, capsys):
    path = imported(tmp_path, "lone", 900.0)
    assert said(capsys, "verify", path)[0] == 0
    assert not (tmp_path / FILE_NAME).exists()


@pytest.mark.parametrize("rubbish", [b"\xff\xfe no line\n", b"[]\n" * 40_000])
def test_the_last_seal_is_found_behind_what_is_no_line(kite, rubbish):
    links = read_chain(kite).links
    with open(kite / "chain.jsonl", "ab") as file:
        file.write(rubbish)
    assert last_seal(kite) == links[-2].sha256
    assert read_chain(kite).links == links
    assert last_seal(kite / "nowhere") == ""


@pytest.mark.parametrize("text", ["nonsense", "[]", '{"who": 1}', "1, 2", '"x"'])
def test_a_catalogue_that_holds_nonsense_is_made_again(kite, text):
    before = catalogued(kite)
    with sqlite3.connect(kite / FILE_NAME) as database:
        database.execute("UPDATE contents SET summary = ?", (text,))
    assert catalogued(kite) == before
    assert not (kite / FILE_NAME).exists()
    assert catalogued(kite) == before
    assert (kite / FILE_NAME).exists()


def test_a_broken_record_is_listed_with_its_problem(kite, capsys):
    (kite / "bad.h5").write_bytes(b"x")
    status, out, _ = said(capsys, "list")
    assert status == 0
    assert "bad" in out
    last = json.loads(said(capsys, "list", "--json", "--sort", "peak")[1])[-1]
    assert last["problem"]


@pytest.mark.parametrize(
    ("asked", "names"),
    [
        ((), ["one", "two", "three"]),
        (("--article", "a"), ["one", "three"]),
        (("--line", "x"), []),
        (("--peak-least", "1000"), ["two", "three"]),
        (("--peak-least", "1000", "--peak-most", "1300"), ["three"]),
        (("--sort", "peak"), ["one", "three", "two"]),
        (("--sort", "peak", "--reverse"), ["two", "three", "one"]),
        (("--sort", "name"), ["one", "three", "two"]),
        (("--verdict", "overload"), ["two", "three"]),
        (("--since", "2999-01-01"), []),
        (("--until", "2999-01-01"), ["one", "two", "three"]),
        (("--until", "2000-01-01"), []),
    ],
)
def test_list_filters_and_sorts(kite, capsys, asked, names):
    _, out, _ = said(capsys, "list", "--json", *asked)
    assert [one["record"].rsplit("/", 1)[-1][:-3] for one in json.loads(out)] == names


@pytest.mark.parametrize(
    ("asked", "status", "words"),
    [
        (("--since", "yesterday"), 2, "'yesterday' is not a day such as"),
        (("--until", "2026-02-31"), 2, "is not a day such as"),
        (("--verdict", "fine"), 2, "'fine' is not one of"),
        (("--peak-least", "high"), 2, "'high' is not a number"),
        (("--article", "nobody"), 0, "none of 3 records matches"),
        (("nowhere",), 1, "cannot be listed"),
    ],
)
def test_what_list_cannot_know_it_says(kite, capsys, asked, status, words):
    found, out, err = said(capsys, "list", *asked)
    assert found == status
    assert words in out + err


def test_list_as_csv_holds_no_formula(kite, capsys):
    imported(kite, "hostile", 500.0, article="=cmd|'/c calc'!A1")
    rows = list(csv.DictReader(said(capsys, "list", "--csv")[1].splitlines()))
    assert next(one for one in rows if "cmd" in one["article"])["article"].startswith("'=")
    assert plain_cell(-5.0) == -5.0
    assert plain_cell("plain") == "plain"


def test_choosing_by_dates(kite):
    records = catalogued(kite)
    day = records[0].utc[:10]
    assert chosen(records, Query(since=day, until=day)) == records


def test_no_decision_hides_what_was_proposed(kite, capsys):
    assert said(capsys, "inspect", "two.h5", "--found", "parted", "--by", "A")[0] == 0
    proposed = catalogued(kite)[1].test_verdict
    given = ["--verdict", "no-test", "--by", "R. Lead", "--reason", "wet line"]
    assert said(capsys, "decide", "two.h5", *given)[0] == 0

    def names(**asked):
        return [one.name for one in chosen(catalogued(kite), Query(**asked))]

    assert proposed not in ("pending", "no-test")
    assert names(verdict="no-test") == names(verdict=proposed) == ["two"]
    assert names(decided="no-test") == names(proposed=proposed) == ["two"]
    assert names(decided=proposed) == names(proposed="no-test") == []
    status, out, _ = said(capsys, "list", "--verdict", proposed)
    assert status == 0
    assert f"two: proposed {proposed}, R. Lead decided no-test" in out
    assert out.split("\n")[1].split()[-2:] == [proposed, "no-test"]
    (told,) = json.loads(said(capsys, "list", "--decided", "no-test", "--json")[1])
    assert (told["test_verdict"], told["decided"], told["decided_by"]) == (
        *(proposed, "no-test", "R. Lead"),
    )


def test_what_was_decided_before_is_found_too(kite, capsys):
    for verdict in ("fail", "pass"):
        given = ["--verdict", verdict, "--by", "R. Lead", "--reason", "as seen"]
        assert said(capsys, "decide", "two.h5", *given)[0] == 0
    assert [one.name for one in chosen(catalogued(kite), Query(verdict="fail"))] == ["two"]
    assert "two: earlier it was fail" in said(capsys, "list")[1]


# Export


def test_csv_comes_back_as_it_was(kite, tmp_path, capsys):
    out = tmp_path / "out.csv"
    assert said(capsys, "export", "two.h5", "--out", out, "--cfc", "60")[0] == 0
    lines = out.read_text().splitlines()
    assert any(line.startswith("# record_id: ") for line in lines)
    head = next(number for number, line in enumerate(lines) if not line.startswith("#"))
    assert lines[head] == "time_s,force_n,unfiltered_n,raw_n"
    values = np.loadtxt(lines[head + 1 :], delimiter=",")
    np.testing.assert_allclose(values[:, 3], open_record("two.h5").trace().force_n, rtol=1e-8)
    given = ["--force-column", "raw_n", "--time-column", "time_s"]
    plain = tmp_path / "plain.csv"
    plain.write_text("\n".join(lines[head:]))
    assert said(capsys, "import", plain, *given, "--out", tmp_path / "again.h5")[0] == 0
    again = open_record(tmp_path / "again.h5").trace()
    np.testing.assert_allclose(again.force_n, open_record("two.h5").trace().force_n, rtol=1e-8)


def test_universal_file_format(kite, tmp_path, capsys):
    """The curve in its class first, then the force as it was measured."""
    out = tmp_path / "out.uff"
    assert said(capsys, "export", "two.h5", "--to", "uff", "--out", out, "--cfc", "60")[0] == 0
    curve, raw = pyuff.UFF(str(out)).read_sets()
    trace = open_record("two.h5").trace()
    assert curve["type"] == raw["type"] == 58
    np.testing.assert_allclose(raw["data"], trace.force_n, atol=1e-6)
    np.testing.assert_allclose(raw["x"], trace.time_s, atol=1e-9)
    seen = assess(open_record("two.h5"), cfc=60).curve
    np.testing.assert_allclose(curve["data"], seen.force_n, atol=1e-6)
    assert "two.h5" in curve["id1"]
    assert "CFC 60" in curve["id5"]
    assert "zero not removed" in raw["id5"]


def test_exports_overwrite_nothing(kite, tmp_path, capsys):
    for kind in ("csv", "uff"):
        out = tmp_path / f"there.{kind}"
        out.write_text("precious")
        status, _, err = said(capsys, "export", "two.h5", "--to", kind, "--out", out)
        assert status == 1
        assert "exists already" in err
        assert out.read_text() == "precious"
    assert said(capsys, "export", "nowhere.h5")[0] == 1


@pytest.mark.parametrize(
    ("given", "status"),
    [
        (("one.h5", "two.h5"), 0),
        (("one.h5", "--page", "spectrum"), 0),
        (("one.h5", "--page", "stretch"), 1),  # a half-sine without a rebound has no slack line
        (("one.h5", "two.h5", "--page", "drop"), 2),
        (("nowhere.h5",), 1),
    ],
)
@pytest.mark.parametrize("ending", ["png", "svg", "pdf"])
def test_pages(kite, capsys, given, status, ending):
    if status == 1 and given[0] == "one.h5":
        given = ("three.h5", "--page", "stretch")
        (kite / "three.h5").unlink()
    found, _, err = said(capsys, "show", *given, "--out", f"p.{ending}")
    assert found == status
    assert (kite / f"p.{ending}").exists() == (status == 0)
    assert not err or len(err.strip().splitlines()) == 1


def _add_many(path, who, count):
    from tautlog.files.json_lines import add_line

    for number in range(count):
        add_line(path, {"who": who, "number": number, "fill": "x" * 300})


def test_two_programs_add_to_one_file_and_no_line_is_mixed(tmp_path):
    import multiprocessing

    path = tmp_path / "lines.jsonl"
    context = multiprocessing.get_context("spawn")
    both = [context.Process(target=_add_many, args=(path, who, 150)) for who in "ab"]
    for one in both:
        one.start()
    for one in both:
        one.join(60)
    lines = [json.loads(line) for line in path.read_text().splitlines()]
    assert len(lines) == 300
    for who in "ab":
        assert [one["number"] for one in lines if one["who"] == who] == list(range(150))


def _list(folder, results):
    results.put(len(catalogued(folder)))


def test_two_programs_list_one_folder(kite):
    import multiprocessing

    context = multiprocessing.get_context("spawn")
    results = context.Queue()
    both = [context.Process(target=_list, args=(kite, results)) for _ in range(2)]
    for one in both:
        one.start()
    assert [results.get(timeout=60) for _ in both] == [3, 3]
    for one in both:
        one.join(60)


def test_a_folder_that_takes_no_catalogue_is_listed_all_the_same(kite):
    (kite / FILE_NAME).mkdir()  # as a folder that cannot be written to refuses the file
    assert len(catalogued(kite)) == 3


def test_a_chain_that_cannot_be_written_costs_no_record(kite, capsys):
    (kite / "chain.jsonl").unlink()
    (kite / "chain.jsonl").mkdir()
    path = imported(kite, "four", 700.0)
    assert open_record(path).verify_seal().state == "intact"


def test_one_more_link_reads_none_of_the_others(kite, monkeypatch):
    """Each of ten thousand records read all lines of the chain before it."""
    real, read = chain.link_of, []
    monkeypatch.setattr(chain, "link_of", lambda line: read.append(line) or real(line))
    chain.add_link(kite, chain.Link(chain.RECORD, "x.h5", "0" * 64))
    assert len(set(read)) == 1
    assert read_chain(kite).changed == ()


def test_what_is_no_file_is_named_and_stops_nothing(kite, capsys):
    os.mkfifo(kite / "pipe.h5")
    (kite / "loop.h5").symlink_to(kite / "loop.h5")
    (kite / "dir.h5").mkdir()
    for command in ("list", "verify"):
        _, out, err = said(capsys, command)
        for name in ("pipe.h5", "loop.h5", "dir.h5"):
            assert name in out + err
    assert "3 intact" in out
    assert said(capsys, "plan")[0] == 0


@pytest.mark.parametrize("spoilt", [None, b"\xff\x00garbage\n"])
def test_a_chain_that_tells_nothing_is_told(kite, capsys, spoilt):
    if spoilt is None:
        (kite / "chain.jsonl").unlink()
    else:
        (kite / "chain.jsonl").write_bytes(spoilt)
    status, out, err = said(capsys, "verify")
    assert status == 1
    assert "cannot show missing records" in out + err

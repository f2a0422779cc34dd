"""campaign.toml: every mistake at once, with what was read and what is allowed."""

from __future__ import annotations

import tomllib
from dataclasses import fields
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import get_args, get_type_hints

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tautlog.campaign.campaign import Campaign, read_campaign
from tautlog.campaign.drop_setup import DropRequest, setup_from
from tautlog.campaign.new_campaign import write_new_campaign
from tautlog.campaign.stated import SECTIONS
from tautlog.errors import CampaignError
from tautlog.files.campaign_folder import find_campaign
from tautlog.files.record_path import next_record_path
from tautlog.model.calibration import Calibration
from tautlog.model.key import keys_of
from tautlog.model.trace import DropSetup

KEYS = [(section, key) for section in SECTIONS.values() for key in keys_of(section.kind).values()]
KG = "allowed is 0.05 to 500 kg (what a hand-built rig lifts)"
M = "allowed is 0 to 10 m (rails that people build)"


def write(folder: Path, text: str) -> Path:
    path = folder / "campaign.toml"
    path.write_text(text, encoding="utf-8")
    return path


def problems(folder: Path, text: str) -> tuple[str, ...]:
    with pytest.raises(CampaignError) as caught:
        read_campaign(write(folder, text))
    assert "\n" not in str(caught.value)
    assert isinstance(caught.value, ValueError)
    assert all(problem in str(caught.value) for problem in caught.value.problems)
    return caught.value.problems


def test_a_new_campaign_reads_back_as_the_example(tmp_path: Path) -> None:
    path = write_new_campaign(tmp_path / "new" / "kite")
    campaign = read_campaign(path)
    assert campaign == read_campaign(path.parent)
    assert (campaign.name, campaign.folder) == ("kite recovery bridle", path.parent)
    setup = campaign.setup
    assert (setup.mass_kg, setup.height_m, setup.target_n) == (9.0, 1.2, 1800.0)
    assert setup.upper_n == pytest.approx(1980)
    assert campaign.calibration == Calibration()
    assert "REPLACE ALL VALUES" in path.read_text()


def test_every_key_is_in_a_new_file_and_every_optional_one_is_allowed(tmp_path: Path) -> None:
    path = write_new_campaign(tmp_path)
    lines = path.read_text().splitlines()
    for section, key in KEYS:
        mark = "# " if key.optional or section.as_comment else ""
        assert sum(line.startswith(f"{mark}{key.name} = ") for line in lines) >= 1, key.name
    optional = {f"# {key.name} =" for section, key in KEYS if key.optional or section.as_comment}
    optional |= {f"# {section.head}" for section in SECTIONS.values() if section.as_comment}
    text = "\n".join(
        line[2:] if any(line.startswith(name) for name in optional) else line for line in lines
    )
    # An angle is asked of every leg, and the example shows one.
    text += '\n[[leg]]\nname = "force left"\nfrom_vertical_deg = 30.0\nangle_expanded_u_deg = 2.0\n'
    campaign = read_campaign(write(tmp_path, text))
    assert campaign.requirement.derived_target_n == campaign.setup.target_n == 1800.0


def test_every_number_has_its_unit_in_its_name() -> None:
    # A gain, a factor, a share of a load and a reliability have no unit; drops, articles and
    # poles are counted.
    units = tuple(
        "_n _kg _m _mm _s _v _deg _bits _hz _j _ohm _mv_per_v _fraction _factor _volt _days "
        "_n_per_m _per_m2 _m_s2 _m2 _ratio "
        "_c _percent _h gain factor pry _poles _drops _before _article "
        "reliability confidence articles _allowed _failure".split()
    )
    for _, key in KEYS:
        assert key.kind is str or key.name.endswith(units), key.name


def test_every_field_of_the_calibration_can_be_set() -> None:
    assert set(keys_of(Calibration)) == {field.name for field in fields(Calibration)}


def test_every_key_is_of_the_kind_that_its_field_says() -> None:
    for section, key in KEYS:
        said = get_type_hints(section.kind)[key.name]
        kinds = set(get_args(said) or (said,)) - {type(None)}
        assert kinds == {key.kind}, f"{section.head} {key.name}"
        assert key.mistake(key.example) == "", f"{section.head} {key.name}"


def test_a_former_name_is_read_and_both_names_are_a_mistake(tmp_path: Path) -> None:
    text = "[[line]]\nname = 'a'\nstiffness_n_per_m = 20000\ndamping_fraction = 0.1\n"
    assert read_campaign(write(tmp_path, text)).line("a").damping_ratio == 0.1
    assert problems(tmp_path, text + "damping_ratio = 0.2\n") == (
        "line 4: [[line]] damping_fraction is the old name of damping_ratio, which is stated, "
        "too: delete damping_fraction",
    )
    (problem,) = problems(tmp_path, text.replace("0.1", "10.0"))
    assert problem.startswith("line 4: [[line]] damping_fraction = 10.0: allowed is 0 to 0.9")


def test_an_existing_campaign_is_never_overwritten(tmp_path: Path) -> None:
    path = write(tmp_path, "precious")
    with pytest.raises(CampaignError, match="exists already"):
        write_new_campaign(tmp_path)
    assert path.read_text() == "precious"
    with pytest.raises(CampaignError, match=r"cannot be written|is not a folder"):
        write_new_campaign(path)


def test_an_empty_file_is_a_campaign_of_nothing_known(tmp_path: Path) -> None:
    campaign = read_campaign(write(tmp_path, ""))
    assert (campaign.name, campaign.setup) == (tmp_path.name, DropSetup())
    assert (campaign.port, campaign.link_timeout_s) == ("", 2.0)


def test_a_target_may_be_derived_from_load_and_factors(tmp_path: Path) -> None:
    text = "[requirement]\nflight_load_n = 1200\ndesign_factor = 1.5\ntest_factor = 1.25\n"
    assert read_campaign(write(tmp_path, text)).setup.target_n == 2250.0
    assert problems(tmp_path, text + "target_n = 2000") == (
        "[requirement] target_n = 2000: flight load x design factor x test factor is 2250; "
        "delete target_n or correct the wrong value",
    )


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("[drop]\nmass_kg = 0", f"[drop] mass_kg = 0: {KG}"),
        ("[drop]\nheight_m = -1.5", f"[drop] height_m = -1.5: {M}"),
        ("[drop]\nheight_m = 1e9", f"[drop] height_m = 1000000000.0: {M}"),
        (
            "[drop]\nheight_m = 1200",
            f"[drop] height_m = 1200: {M}; is it in mm? 1200 mm are 1.2 m",
        ),
        ("[drop]\nmass_kg = 9000", f"[drop] mass_kg = 9000: {KG}; is it in g? 9000 g are 9 kg"),
        ("[drop]\nmass_kg = '9'", "[drop] mass_kg = '9': allowed is a number, 0.05 to 500 kg"),
        ("[drop]\nmass_kg = true", "[drop] mass_kg = True: allowed is a number, 0.05 to 500 kg"),
        ("[drop]\nmass_kg = nan", f"[drop] mass_kg = nan: {KG}"),
        ("[drop]\nmass_kg = inf", f"[drop] mass_kg = inf: {KG}"),
        ("[drop]\narticle = 3", "[drop] article = 3: allowed is text in quotes"),
        ("[drop]\nmass_g = 900", "[drop] mass_g = 900: unknown key; did you mean mass_kg?"),
        ("[drop]\nheigth_m = 1", "[drop] heigth_m = 1: unknown key; did you mean height_m?"),
        (
            "[board]\nx = 1",
            "[board] x = 1: unknown key; allowed are port, link_timeout_s, chip, sample_rate_hz",
        ),
        (
            "[requirement]\ntarget_n = -3",
            "[requirement] target_n = -3: allowed is 10 to 1e+06 N (10 N is a kilogram, 1 MN a "
            "heavy press)",
        ),
        (
            "[requirement]\ntarget_n = 1.8",
            "[requirement] target_n = 1.8: allowed is 10 to 1e+06 N (10 N is a kilogram, 1 MN a "
            "heavy press); is it in kN? 1.8 kN are 1800 N",
        ),
        (
            "[calibration]\ndate = '01.03.2020'",
            "[calibration] date = '01.03.2020': expected an ISO 8601 day, year-month-day, such "
            "as 2020-03-01",
        ),
        (
            "[cell]\ncertificate_date = '2020-3-1'",
            "[cell] certificate_date = '2020-3-1': expected an ISO 8601 day, year-month-day, "
            "such as 2026-03-01",
        ),
        (
            "[requirement]\ntarget_n = 100\nlimit_n = 90",
            "[requirement] limit_n = 90: allowed is a number > target_n, which is 100",
        ),
        (
            "[requirement]\nkind = 'proof'",
            "[requirement] kind = 'proof': allowed is limit or ultimate",
        ),
        (
            "[requirement]\nshortest_duration_s = 1.0\nlongest_duration_s = 0.5",
            "[requirement] longest_duration_s = 0.5: allowed is a number >= shortest_duration_s, "
            "which is 1",
        ),
        (
            "[calibration]\nexpanded_u_fraction = 4.0",
            "[calibration] expanded_u_fraction = 4.0: allowed is 0 to 1 (1 is the whole); is it in "
            "%? 4 % are 0.04",
        ),
        (
            "[calibration]\nconverter_bits = 12.0",
            "[calibration] converter_bits = 12.0: allowed is a whole number",
        ),
        (
            "[calibration]\nnewton_per_volt = 0",
            "[calibration] newton_per_volt = 0: allowed is 0.01 to 1e+08 N/V, of either sign (of "
            "cell and amplifier)",
        ),
        (
            "[calibration]\nrail_high_v = 3.4",
            "[calibration] rail_high_v = 3.4: allowed is a number > rail_low_v (0.05) and <= "
            "reference_v (3.3)",
        ),
        (
            "[board]\nport = ''\n[tower]\na = 1",
            "['tower']: unknown section; allowed are [campaign], [requirement], [flight], "
            "[laboratory], [display], [person], [drop], [calibration], [board], [rig], [cell], "
            "[amplifier], "
            "[force_channel], [leg], [accelerometer], [excitation], [fitted], [decision], "
            "[qualification], [atmosphere], [retirement], [line], [article], [dimension], "
            "[mount], [element]",
        ),
        (
            "[[line]]\nname = 'a'\nmodulus_n = 0",
            "[[line]] modulus_n = 0: allowed is 10 to 1e+09 N (rubber to a steel rope)",
        ),
        ("[[mount]]\nproven_n = 90.0", "[[mount]]: name is missing; expected text in quotes"),
        ("[line]\nname = 'a'", "line = {'name': 'a'}: expected a section [[line]]"),
        ("drop = 3", "drop = 3: expected a section [drop]"),
    ],
)
def test_each_mistake_says_what_was_read_and_what_is_allowed(
    tmp_path: Path, text: str, expected: str
) -> None:
    (problem,) = problems(tmp_path, text)
    line, _, told = problem.partition(": ")
    if line.startswith("line "):
        named = text.splitlines()[int(line[5:]) - 1].strip("[]").split(" ")[0]
        assert named in told.partition(";")[0]
        problem = told
    assert problem == expected


def test_a_mistake_names_its_line_also_in_the_second_of_many(tmp_path: Path) -> None:
    text = "# x\n[[line]]\nname = 'a'\n\n[[line]] # b\nname = 'b'\nlength_m = -1\n"
    (problem,) = problems(tmp_path, text)
    assert problem == "line 7: [[line]] length_m = -1: allowed is 0.01 to 100 m (lines and rails)"


def test_names_are_given_once(tmp_path: Path) -> None:
    (problem,) = problems(tmp_path, "[[line]]\nname = 'a'\n[[line]]\nname = 'a'\n")
    assert problem == "[[line]] name = 'a' is defined twice: rename one or delete it"


def test_rig_lines_mounts_and_path_are_read(tmp_path: Path) -> None:
    text = """
[rig]
rails_m = 3
[[line]]
name = "by value"
stiffness_n_per_m = 20000
damping_ratio = 0.1
[[line]]
name = "by modulus"
modulus_n = 30000
length_m = 1.5
[[mount]]
name = "beam"
proven_n = 2500
[[element]]
name = "screws"
strength_n = 6000
factor = 2
pry = 1.5
part = "mount"
"""
    campaign = read_campaign(write(tmp_path, text))
    assert campaign.rig.rails_m == 3.0
    assert campaign.line("by value").damping_ratio == 0.1
    assert campaign.line("by modulus").stiffness_n_per_m == 20_000.0
    assert campaign.line("nobody") is None
    assert campaign.mounts[0].proven_n == 2500.0
    assert campaign.elements[0].allowed_n == 2000.0


def test_all_mistakes_come_at_once(tmp_path: Path) -> None:
    found = problems(
        tmp_path, "[drop]\nmass_kg = -1\nheight = 2\n[board]\nport = 7\n[campaign]\nname = 1.0"
    )
    assert len(found) == 4


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("[drop]\nmass_kg = = 9", "line 2"),
        ("[drop]\nmass_kg = 9\nmass_kg = 8", "line 3"),
        ("[drop\n", "line 1"),
        ('[drop]\nnote = """a\nb', "line 3"),
        ("x = " + "[" * 5000, "TOML"),
        ("x = " + "9" * 5000, "TOML"),
    ],
)
def test_mistakes_of_toml_name_their_line(tmp_path: Path, text: str, where: str) -> None:
    (problem,) = problems(tmp_path, text)
    assert where in problem


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(CampaignError, match=r"does not exist: make a campaign with `tautlog init`"):
        read_campaign(tmp_path)
    (tmp_path / "campaign.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(CampaignError, match="is not UTF-8 text"):
        read_campaign(tmp_path)


def test_the_nearest_campaign_above_is_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    deep = tmp_path / "a" / "b" / "c"
    deep.mkdir(parents=True)
    outer = write(tmp_path, "")
    assert find_campaign(deep) == outer
    inner = write(tmp_path / "a" / "b", "")
    assert find_campaign(deep) == inner
    broken = deep / "campaign.toml"
    broken.mkdir()  # whoever reads it is told; it does not count as none
    assert find_campaign(deep) == broken
    monkeypatch.chdir(tmp_path / "a")
    assert find_campaign() == outer


def test_options_go_over_the_campaign(tmp_path: Path) -> None:
    drop = "[drop]\nmass_kg = 9\narticle = 'a'\nnote = 'n'\n"
    requirement = "[requirement]\ntarget_n = 1800\nlimit_n = 2500\n"
    campaign = read_campaign(write(tmp_path, drop + requirement))
    assert setup_from(campaign) == campaign.setup
    setup = setup_from(campaign, DropRequest(mass_kg=5, height_m=0.0, article="b", note=""))
    assert (setup.mass_kg, setup.height_m, setup.article, setup.note) == (5, 0.0, "b", "")
    assert (setup.target_n, setup.limit_n) == (1800, 2500)
    # A limit belongs to its target.
    assert setup_from(campaign, DropRequest(target_n=3000)).limit_n is None
    assert setup_from(campaign, DropRequest(target_n=3000, limit_n=3200)).limit_n == 3200
    assert setup_from(None, DropRequest(line="x", article_finding="intact")) == DropSetup(
        line="x", article_finding="intact"
    )


def test_options_out_of_range_are_all_named() -> None:
    with pytest.raises(CampaignError) as caught:
        setup_from(None, DropRequest(target_n=0.0, mass_kg=-2, height_m=float("nan")))
    assert caught.value.problems == (
        f"mass_kg = -2: {KG}",
        f"height_m = nan: {M}",
        "target_n = 0.0: allowed is 10 to 1e+06 N (10 N is a kilogram, 1 MN a heavy press)",
    )
    with pytest.raises(CampaignError, match="limit_n = 900: allowed is a number > target_n"):
        setup_from(Campaign(Path(), "x", DropSetup(target_n=1000)), DropRequest(limit_n=900))


def test_a_record_is_named_by_utc_and_article(tmp_path: Path) -> None:
    now = datetime(2026, 11, 25, 11, 22, 31, tzinfo=timezone(timedelta(hours=1)))
    names = []
    for _ in range(3):
        path = next_record_path(tmp_path, "bridle 3", now=now)
        path.touch()
        names.append(path.name)
    assert names == [
        "2026-11-25T10-22-31Z_bridle-3.h5",
        "2026-11-25T10-22-31Z_bridle-3_2.h5",
        "2026-11-25T10-22-31Z_bridle-3_3.h5",
    ]
    assert next_record_path(tmp_path, "\u00dcberlast", now=now).stem.endswith("_Uberlast")


@given(st.text())
@example("../../etc/passwd")
@example("..")
@example("a" * 500)
@example("C:\\con\0")
@example("\u2215\uff0f\u2024\u2024")
def test_no_article_leads_out_of_the_folder(article: str) -> None:
    folder = Path("/somewhere/records")
    path = next_record_path(folder, article, now=datetime(2026, 1, 2, tzinfo=UTC))
    assert path.parent == folder
    assert set(path.name) <= set(
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._"
    )
    assert path.name.startswith("2026-01-02T00-00-00Z_")
    assert len(path.name) < 100


SECTION_NAMES = st.sampled_from(["campaign", "requirement", "drop", "calibration", "board", "x"])
VALUES = st.sampled_from(
    ["1", "-1", "0", "1e400", "nan", "true", "'x'", "[1]", "{a=1}", "2026-01-01", "9" * 400]
)


@given(
    st.lists(
        st.tuples(SECTION_NAMES, st.sampled_from([key.name for _, key in KEYS]), VALUES),
        unique_by=lambda line: line[:2],
    ).map(lambda lines: "".join(f"{s}.{k} = {v}\n" for s, k, v in lines))
    | st.text(max_size=60)
)
def test_any_text_is_a_campaign_or_a_campaign_error(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    path = tmp_path_factory.mktemp("any") / "campaign.toml"
    path.write_bytes(text.encode("utf-8", "replace"))
    try:
        campaign = read_campaign(path)
    except CampaignError:
        return
    tomllib.loads(text.replace("\ufeff", "", 1) if text.startswith("\ufeff") else text)
    assert campaign.setup.target_n is None or campaign.setup.target_n > 0

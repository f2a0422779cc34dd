"""A campaign.toml that no campaign has is refused at once, or read soon."""

import time

import pytest

from tautlog.campaign import toml_text
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.practised import practises
from tautlog.cli import run
from tautlog.errors import CampaignError

SOON_S = 2.0  # of processor time
ROOM = toml_text.MOST_BYTES - 40_000


@pytest.fixture
def campaign(tmp_path):
    """A new campaign.toml, to which a text is added before or after its own."""
    assert run(["init", str(tmp_path / "a")]) == 0
    path = tmp_path / "a" / "campaign.toml"
    own = path.read_text(encoding="utf-8")

    def written(before="", after=""):
        path.write_text(before + own + "\n" + after, encoding="utf-8")
        assert path.stat().st_size < toml_text.MOST_BYTES
        return path

    return written


def keys(count, text="k{:x}=1\n"):
    return "".join(text.format(number) for number in range(count))


HUGE = {
    "a hundred thousand keys": {"before": keys(100_000)},
    "a hundred thousand unknown keys of a section": {"after": keys(100_000)},
    "a hundred thousand dotted keys": {"before": keys(80_000, "a.k{:x}=1\n")},
    "sections without end": {"after": keys(100_000, "[t{:x}]\n")},
    "articles without end": {"after": keys(35_000, "[[article]]\nname='a{:x}'\n")},
    "one key of half a million parts": {"before": "x." * (ROOM // 2 - 10) + "y=1\n"},
    "one of them in a header": {"after": "[" + "x." * (ROOM // 2 - 10) + "y]\n"},
    "one of them with quotes and blanks": {"after": "[" + '"x" . ' * (ROOM // 6 - 10) + "y]\n"},
    "lists in lists": {"before": "x=" + "[" * (ROOM // 2) + "]" * (ROOM // 2) + "\n"},
    "one word": {"before": "#" + "a" * (ROOM - 20) + "\n"},
    "as many lines as are read, all mistakes": {"after": keys(9_500)},
    "as many articles as are read": {"after": keys(4_700, "[[article]]\nname='a{:x}'\n")},
    "as many names that are alike": {"after": keys(900, "[[article]]\nname='a{0: <{0}}b'\n")},
}


@pytest.mark.parametrize("name", HUGE)
def test_a_huge_file_is_refused_or_read_within_seconds(campaign, name):
    path = campaign(**HUGE[name])
    begin = time.process_time()
    try:
        read_campaign(path)
    except CampaignError as problem:
        assert len(problem.problems) <= 51  # noqa: PT017 - some are refused, others are read
        assert len(str(problem)) < 20_000  # noqa: PT017
    assert time.process_time() - begin < SOON_S
    begin = time.process_time()
    assert not practises(path)
    assert time.process_time() - begin < SOON_S


def test_it_says_what_was_seen_and_what_is_read(campaign):
    path = campaign(**HUGE["a hundred thousand keys"])
    with pytest.raises(CampaignError, match=r"it has 100\d{3} lines, at most 10000 are read"):
        read_campaign(path)
    path = campaign(before="a=1\n" + HUGE["one key of half a million parts"]["before"])
    with pytest.raises(CampaignError, match=r"a key of more than 16 parts \(at line 2\)"):
        read_campaign(path)


def test_text_with_dots_is_no_key(campaign):
    path = campaign(before="# 1.2.3. a. b. c. d. e. f. g... and so on\n")
    assert read_campaign(path).name

"""A name is a text that somebody can read."""

import pytest

from tautlog.model.signature import signed


@pytest.mark.parametrize("text", [None, "", " \t", "\u200b", "\u3164\u2800", "-", ".", "\u202e"])
def test_nobody(text):
    assert signed(text) == ""


@pytest.mark.parametrize("text", ["A", " R. Lead ", "\u674e", "\u00c5sa", "7", "\u05d0"])
def test_somebody(text):
    assert signed(text) == text.strip()

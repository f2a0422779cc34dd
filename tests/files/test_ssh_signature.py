"""SSH signatures, against OpenSSH's own program and the fingerprint that it prints."""

import shutil
import subprocess

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from keys import made

from tautlog.errors import SignatureError
from tautlog.files.ssh_signature import fingerprint, read_public, sign, signer_of

pytest.importorskip("cryptography", reason="no cryptography here: nothing can be signed")
MESSAGE = b"head 0123\n"


@pytest.fixture(scope="module")
def key(tmp_path_factory):
    return made("ed25519", tmp_path_factory.mktemp("keys") / "own")


@pytest.fixture
def ssh_keygen():
    found = shutil.which("ssh-keygen")
    if not found:
        pytest.skip("no ssh-keygen here: nothing is compared with OpenSSH")
    return found


def test_what_was_signed_is_known_by_its_key(key):
    raw = read_public(key.with_suffix(".pub"))
    assert signer_of(MESSAGE, sign(MESSAGE, key)) == raw
    with pytest.raises(SignatureError, match="not one of what it stands beside"):
        signer_of(MESSAGE + b" ", sign(MESSAGE, key))


def test_openssh_finds_our_signature_good(key, ssh_keygen, tmp_path):
    (tmp_path / "sig").write_text(sign(MESSAGE, key) + "\n")
    (tmp_path / "allowed").write_text("rigger " + key.with_suffix(".pub").read_text())
    given = [ssh_keygen, "-Y", "verify", "-f", tmp_path / "allowed", "-I", "rigger"]
    given += ["-n", "tautlog", "-s", tmp_path / "sig"]
    assert subprocess.run(given, input=MESSAGE, capture_output=True).returncode == 0
    assert subprocess.run(given, input=b"other", capture_output=True).returncode != 0


def test_we_find_the_signature_of_openssh_good(key, ssh_keygen, tmp_path):
    (tmp_path / "message").write_bytes(MESSAGE)
    for purpose in ("tautlog", "file"):
        given = [ssh_keygen, "-Y", "sign", "-f", key, "-n", purpose, tmp_path / "message"]
        subprocess.run(given, check=True, capture_output=True)
        text = (tmp_path / "message.sig").read_text()
        (tmp_path / "message.sig").unlink()
        if purpose == "tautlog":
            assert signer_of(MESSAGE, text) == read_public(key.with_suffix(".pub"))
        else:
            with pytest.raises(SignatureError, match="for tautlog"):
                signer_of(MESSAGE, text)


def test_the_fingerprint_is_that_of_openssh(key, ssh_keygen):
    public = key.with_suffix(".pub")
    printed = subprocess.run([ssh_keygen, "-l", "-f", public], capture_output=True, text=True)
    assert printed.stdout.split()[1] == fingerprint(read_public(public))


@given(st.data())
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_changed_signature_holds(key, data):
    text = sign(MESSAGE, key)
    at = data.draw(st.integers(0, len(text) - 1))
    put = data.draw(st.sampled_from("AZaz09+/=-\n é\0"))
    changed = text[:at] + put + text[at + 1 :]
    same = changed.replace("\n", "") == text.replace("\n", "")
    try:
        raw = signer_of(MESSAGE, changed)
    except SignatureError:
        return
    # Where a line is broken says nothing; and the last digit has two bits that are not read.
    assert same or text[at + 1 :].startswith(("=", "\n---"))
    assert raw == read_public(key.with_suffix(".pub"))


@given(st.text(max_size=400))
def test_any_text_is_refused(text):
    with pytest.raises(SignatureError):
        signer_of(MESSAGE, text)


def test_a_locked_key_needs_its_passphrase(tmp_path):
    key = made("ed25519", tmp_path / "locked", b"long enough")
    with pytest.raises(SignatureError, match="has a passphrase") as told:
        sign(MESSAGE, key)
    assert told.value.needs_passphrase
    with pytest.raises(SignatureError, match="another one"):
        sign(MESSAGE, key, b"wrong")
    assert signer_of(MESSAGE, sign(MESSAGE, key, b"long enough"))


@pytest.mark.parametrize("content", [b"", b"-----BEGIN", b"\0" * 99, b"x" * 70000, None])
def test_what_is_no_key_is_refused(tmp_path, content):
    path = tmp_path / "key"
    if content is not None:
        path.write_bytes(content)
    for read in (lambda: sign(MESSAGE, path), lambda: read_public(path)):
        with pytest.raises(SignatureError, match=r"cannot be|holds no public key"):
            read()


def test_a_key_of_another_kind_is_refused(tmp_path):
    key = made("ecdsa", tmp_path / "other")
    with pytest.raises(SignatureError, match="another kind: expected ssh-ed25519"):
        sign(MESSAGE, key)
    with pytest.raises(SignatureError, match="no public key of kind ssh-ed25519"):
        read_public(key.with_suffix(".pub"))

"""Guards: who gets in, from where, with what, and how much of it."""

import re
import socket

import pytest
from desks import HERE, PORT, Seen, Visit, stranger
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.routing import Route

from tautlog.desk import forms
from tautlog.desk.admission import Admission, Role, token_holds
from tautlog.desk.app import pages_of
from tautlog.desk.desk import Desk
from tautlog.desk.guard import FORM_BYTES, HEADERS
from tautlog.desk.lock import only_desk
from tautlog.desk.server import crew_entrance, serving, watchers_entrance
from tautlog.errors import CampaignError, LinkError

ENTRY = {"article": "bridle-1", "by": "A. Rigger", "note": "no recorder"}


def addresses(method):
    """Every address of the desk that takes a method, with something in its places."""
    routes = [one for one in pages_of(Desk(None)).routes if isinstance(one, Route)]
    return sorted(one.path.replace("{name}", "one") for one in routes if method in one.methods)


@pytest.fixture
def crew(full):
    return Visit(full)


@pytest.fixture
def watcher(full):
    return Visit(full, Role.WATCHER)


@pytest.mark.parametrize("address", [one for one in addresses("GET") if one != "/events"])
def test_without_a_session_nothing_is_shown(address, full):
    client, _ = stranger(full)
    answer = client.get(address)
    assert answer.status_code == 403
    assert "tautlog desk" in answer.text
    assert "bridle" not in answer.text


@pytest.mark.parametrize("address", addresses("POST"))
def test_no_entry_without_session_token_origin_or_for_a_watcher(address, full, crew, watcher):
    before = {path: path.read_bytes() for path in sorted(full.rglob("*")) if path.is_file()}
    client, _ = stranger(full)
    assert client.post(address, data=ENTRY, headers={"origin": HERE}).status_code == 403
    for token in ("", "x", watcher.token(), crew.token()[:-1], crew.token().upper()):
        assert crew.enter(address, ENTRY, token=token).status_code == 403
    for origin in ({}, {"origin": "null"}, {"origin": "https://127.0.0.1:8642"}):
        assert crew.enter(address, ENTRY, headers=origin).status_code == 403
    assert watcher.enter(address, ENTRY, token=crew.token()).status_code == 403
    now = {path: path.read_bytes() for path in sorted(full.rglob("*")) if path.is_file()}
    assert {k: v for k, v in now.items() if "catalogue" not in k.name} == {
        k: v for k, v in before.items() if "catalogue" not in k.name
    }


@pytest.mark.parametrize(
    "host",
    [
        *("evil.example", f"evil.example:{PORT}", "127.0.0.1", f"127.0.0.1:{PORT + 1}"),
        *(f"127.0.0.1:{PORT}.evil.example", f"127.1:{PORT}", f"0.0.0.0:{PORT}", ""),
        f"user@127.0.0.1:{PORT}",
    ],
)
def test_a_foreign_host_gets_nothing(host, crew):
    answer = crew.client.get("/", headers={"host": host})
    assert answer.status_code == 403
    assert "token" not in answer.text


def test_its_own_names_get_in(crew):
    for host in (f"127.0.0.1:{PORT}", f"localhost:{PORT}", f"LOCALHOST:{PORT}"):
        assert crew.client.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "origin",
    [
        *("null", "http://evil.example", f"http://127.0.0.1:{PORT + 1}", "file://"),
        *(f"https://127.0.0.1:{PORT}", f"http://127.0.0.1:{PORT}.evil.example", "http://127.0.0.1"),
    ],
)
def test_a_lying_or_foreign_origin_gets_nothing(origin, crew):
    assert crew.client.get("/", headers={"origin": origin}).status_code == 403
    answer = crew.enter("/ledger", ENTRY, headers={"origin": origin})
    assert answer.status_code == 403
    two = [("origin", HERE), ("origin", origin)]
    assert crew.client.get("/", headers=two).status_code == 403


def test_the_entry_is_made_when_all_is_right(crew, full):
    assert crew.enter("/ledger", ENTRY).status_code == 303
    assert "no recorder" in (full / "ledger.jsonl").read_text()


@pytest.mark.parametrize("key", ["", "x", "%00", "ä", "a" * 4000])
def test_a_wrong_secret_gives_no_session(key, full):
    client, secret = stranger(full)
    for wrong in (key, secret[:-1], secret + "a", secret.swapcase()):
        answer = client.get("/enter", params={"key": wrong})
        assert answer.status_code == 403
        assert "set-cookie" not in answer.headers


def test_the_cookie_cannot_be_read_by_pages_nor_sent_by_others(full):
    client, secret = stranger(full)
    given_cookie = client.get(f"/enter?key={secret}").headers["set-cookie"]
    assert "HttpOnly" in given_cookie
    assert "SameSite=Strict" in given_cookie
    assert secret not in given_cookie
    assert str(PORT) in given_cookie.partition("=")[0]


def test_each_link_opens_its_own_door_only(full):
    watching, secret = stranger(full, Role.WATCHER)
    crew = Visit(full)
    assert watching.get("/enter", params={"key": "no"}).status_code == 403
    cookie = next(iter(crew.client.cookies.jar))
    assert watching.get("/", headers={"cookie": f"{cookie.name}={cookie.value}"}).status_code == 403
    assert watching.get(f"/enter?key={secret}").status_code == 200
    page = watching.get("/ledger").text
    assert 'name="token"' not in page
    assert "<form method" not in page


@pytest.mark.parametrize(
    "address",
    [
        *("/assets/..%2f..%2ferrors.py", "/assets/../page.py", "/assets/%2e%2e/page.py"),
        *("/report/..%2fcampaign.toml", "/report/campaign.toml", "/report/%2fetc%2fpasswd"),
        *("/drops/..%2f..%2fetc%2fpasswd", "/drops/%00", "/drops/rehearsals:..%2fone"),
        *(
            "/drops/..%2fone/picture.svg?page=drop",
            "/curves?drop=../one",
            "/curves?drop=/etc/passwd",
        ),
        *("/drops/one.h5", "/readings?drop=..%2f..%2fone&a=0", "/report/.tautlog-desk.lock"),
    ],
)
def test_no_file_leaves_that_is_no_part_of_a_page(address, crew):
    answer = crew.get(address)
    assert answer.status_code in (400, 404)
    assert "root:" not in answer.text
    assert "[requirement]" not in answer.text
    assert "import" not in answer.text


def test_a_link_to_a_file_elsewhere_is_not_followed(crew, full, tmp_path):
    (tmp_path / "outside.jpg").write_bytes(b"secret")
    (tmp_path / "outside.html").write_text("secret")
    (full / "eye.jpg").symlink_to(tmp_path / "outside.jpg")
    (full / "report_7.html").symlink_to(tmp_path / "outside.html")
    assert crew.get("/report/report_7.html").status_code == 404
    assert "eye.jpg" not in crew.get("/drops/one").text
    answer = crew.enter("/drops/one/photos", {"beside": "eye.jpg"})
    assert answer.status_code == 400
    assert "no photo or film" in answer.text


@pytest.mark.parametrize("name", ["../eye.jpg", "/tmp/eye.jpg", "..\\eye.jpg", "a/b/eye.jpg"])
def test_a_sent_photo_lands_in_the_folder_under_its_last_name(name, crew, full):
    answer = crew.enter("/drops/one/photos", {}, files={"file": (name, b"jpeg", "image/jpeg")})
    assert answer.status_code == 303
    assert (full / "eye.jpg").read_bytes() == b"jpeg"
    assert not (full.parent / "eye.jpg").exists()


@pytest.mark.parametrize(
    "name", ["campaign.toml", "x.html", ".hidden.jpg", "one.h5", "a" * 200 + ".jpg", "x.svg"]
)
def test_what_is_no_photo_is_not_kept(name, crew, full):
    crew.get("/")  # makes the catalogue
    before = sorted(path.name for path in full.iterdir())
    answer = crew.enter("/drops/one/photos", {}, files={"file": (name, b"x", "image/jpeg")})
    assert answer.status_code == 400
    assert sorted(path.name for path in full.iterdir()) == before


def test_a_sent_photo_replaces_nothing(crew, full):
    (full / "eye.jpg").write_bytes(b"first")
    answer = crew.enter("/drops/one/photos", {}, files={"file": ("eye.jpg", b"second", "image/x")})
    assert answer.status_code == 400
    assert "exists" in answer.text
    assert (full / "eye.jpg").read_bytes() == b"first"


def test_a_huge_form_is_not_read(crew):
    answer = crew.enter("/ledger", {"note": "x" * (FORM_BYTES + 1)})
    assert answer.status_code == 413

    def endless():
        for _ in range(400):
            yield b"note=" + b"x" * 1000 + b"&"

    kind = {"origin": HERE, "content-type": "application/x-www-form-urlencoded"}
    assert crew.client.post("/ledger", content=endless(), headers=kind).status_code == 413


@pytest.mark.parametrize("length", ["-1", "1e3", "\xb2", "9" * 30, "x"])
def test_a_length_that_is_none_is_too_long(length, crew):
    kind = {"origin": HERE, "content-length": length.encode("latin-1")}
    assert crew.client.post("/ledger", content=b"", headers=kind).status_code == 413


def test_a_form_of_many_fields_or_a_long_address_is_refused(crew):
    fields = {f"f{number}": "x" for number in range(500)}
    assert crew.enter("/ledger", fields).status_code == 400
    assert crew.get("/drops?article=" + "x" * 9000).status_code == 414


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT"])
def test_other_methods_are_refused(method, crew):
    assert crew.client.request(method, "/").status_code == 405


@pytest.mark.parametrize(
    "address", ["/", "/drops/one", "/no/such", "/enter?key=x", "/curves?drop=x"]
)
def test_every_answer_says_what_its_page_may_do(address, crew):
    headers = crew.get(address).headers
    for name, value in HEADERS.items():
        assert headers[name] == value
    assert "unsafe" not in headers["content-security-policy"]


def test_pages_hold_no_script_or_style_of_their_own(crew):
    for address in ("/", "/plan", "/calibrate", "/checklist", "/drops", "/drops/two", "/ledger"):
        for tag, attributes in Seen(crew.get(address).text).tags:
            assert tag != "style"
            assert tag != "script" or attributes["src"].startswith("/assets/")
            assert not [name for name in attributes if name.startswith("on") or name == "style"]
            for name in ("src", "href", "action"):
                assert not re.match("([a-z]+:)?//|javascript:", attributes.get(name) or "")


def test_a_report_is_shut_in_an_origin_of_its_own(crew, full):
    (full / "report.html").write_text("<script>parent.document.cookie</script>")
    answer = crew.get("/report/report.html")
    policy = answer.headers["content-security-policy"]
    assert policy.startswith("sandbox allow-scripts")
    assert "allow-same-origin" not in policy
    assert "connect-src" not in policy
    assert "default-src 'none'" in policy


def test_a_websocket_is_closed(full):
    from starlette.websockets import WebSocketDisconnect

    client, _ = stranger(full)
    with pytest.raises(WebSocketDisconnect), client.websocket_connect("/events"):
        pass


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(raw=st.text(st.characters(codec="utf-8"), max_size=60))
def test_no_cookie_and_no_token_of_chance_opens(raw):
    admission = Admission(Role.CREW, PORT)
    session = admission.enter(admission.secret)
    visitor = admission.visitor(f"{admission.cookie_name}={session}")
    assert visitor is not None
    assert admission.visitor(f"{admission.cookie_name}={raw}") is None
    assert admission.visitor(raw) is None
    assert not token_holds(visitor, raw)
    assert admission.enter(raw) is None


def test_sessions_do_not_pile_up():
    admission = Admission(Role.CREW, PORT)
    first = admission.enter(admission.secret)
    for _ in range(200):
        newest = admission.enter(admission.secret)
    assert admission.visitor(f"{admission.cookie_name}={first}") is None
    assert admission.visitor(f"{admission.cookie_name}={newest}") is not None
    assert len(admission._sessions) == 64


def test_one_desk_a_campaign(empty):
    with only_desk(empty), pytest.raises(CampaignError, match="another desk"), only_desk(empty):
        pass
    with only_desk(empty):
        pass


def test_the_lock_is_no_link(empty, tmp_path):
    (empty / ".tautlog-desk.lock").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(CampaignError, match="cannot be written"), only_desk(empty):
        pass
    assert not (tmp_path / "elsewhere").exists()


@pytest.mark.parametrize(
    "address", ["0.0.0.0", "::", "evil.example", "224.0.0.1", "", "203.0.113.9"]
)
def test_watchers_come_to_one_address_of_this_computer(address):
    with pytest.raises(LinkError):
        watchers_entrance(address, 0)


def test_the_crew_is_served_on_this_computer_alone(empty):
    """Over real sockets: the watchers' door takes no crew, and neither takes a foreign host."""
    crew, watchers = crew_entrance(0), watchers_entrance("127.0.0.2", 0)
    assert crew.listening.getsockname()[0] == "127.0.0.1"
    with serving(Desk(empty), [crew, watchers]):
        for entrance, other in ((crew, watchers), (watchers, crew)):
            address = entrance.listening.getsockname()
            host = f"{address[0]}:{address[1]}"
            assert _status(address, f"/enter?key={entrance.admission.secret}", host) == 200
            assert _status(address, f"/enter?key={other.admission.secret}", host) == 403
            assert _status(address, f"/enter?key={entrance.admission.secret}", "evil") == 403
            assert _status(address, "/", host) == 403
    with pytest.raises(OSError, match="refused"):
        _status(address, "/", host)


def _status(address, path, host):
    with socket.create_connection(address, timeout=10) as talk:
        asked = f"GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"
        talk.sendall(asked.encode())
        return int(talk.recv(4096).split()[1])


def test_an_entry_behind_one_that_takes_long_is_answered(full, monkeypatch):
    """Found by an attack: it waited as long as the other took, and was entered late."""
    monkeypatch.setattr(forms, "WAITS_S", 0.05)
    desk = Desk(full)
    crew = Visit(full, desk=desk)
    before = (full / "ledger.jsonl").read_bytes() if (full / "ledger.jsonl").exists() else b""
    with desk.writing:
        answer = crew.enter("/ledger", ENTRY)
    assert answer.status_code == 409
    assert answer.text == forms.BUSY
    after = (full / "ledger.jsonl").read_bytes() if (full / "ledger.jsonl").exists() else b""
    assert after == before
    assert crew.enter("/ledger", ENTRY).status_code == 303

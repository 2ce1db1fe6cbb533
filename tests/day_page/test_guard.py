"""Who may ask the page, and which files it hands out."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from jointload.day_page.guard import ALPHABET, GROUP, GROUPS, Guard, new_key
from jointload.day_page.results import may_be_handed_out

LOCAL = Guard("127.0.0.1", 8471)
OPEN = Guard("0.0.0.0", 8471, "abcd-efgh-jkmn-pqrs")


@pytest.mark.parametrize("host", ["127.0.0.1:8471", "localhost:8471", "[::1]:8471"])
def test_this_machine_is_let_in(host: str) -> None:
    assert LOCAL.refuses("GET", {"host": host}, "") == ""
    assert LOCAL.refuses("POST", {"host": host, "origin": f"http://{host}", "sec-fetch-site": "same-origin"}, "") == ""


@pytest.mark.parametrize(
    "host",
    ["", "evil.example:8471", "127.0.0.1", "127.0.0.1:80", "127.0.0.1.evil.example:8471", "192.168.1.5:8471",
     "localhost.evil.example:8471", "evil.example:8471@127.0.0.1", "127.0.0.1:x", "[::1", "0.0.0.0:8471"],
)  # fmt: skip
def test_a_name_that_anybody_may_point_here_is_refused(host: str) -> None:
    assert "not the page's" in LOCAL.refuses("GET", {"host": host}, "")


@pytest.mark.parametrize(
    "more",
    [{"origin": "http://evil.example"}, {"origin": "null"}, {"origin": "http://127.0.0.1:9000"},
     {"sec-fetch-site": "cross-site"}, {"sec-fetch-site": "same-site"}],
)  # fmt: skip
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_another_site_is_refused(method: str, more: dict[str, str]) -> None:
    assert "another site" in LOCAL.refuses(method, {"host": "127.0.0.1:8471"} | more, "")


def test_an_answer_comes_from_the_page_alone() -> None:
    assert "only the page itself" in LOCAL.refuses("POST", {"host": "127.0.0.1:8471"}, "")


def test_others_of_the_network_need_the_key() -> None:
    tablet = {"host": "192.168.1.5:8471"}
    assert OPEN.refuses("GET", tablet, OPEN.key) == ""
    for wrong in ("", OPEN.key[:-1], OPEN.key + "x", OPEN.key.upper(), "ä"):
        assert "key" in OPEN.refuses("GET", tablet, wrong)
    assert "key" in OPEN.refuses("GET", {"host": "127.0.0.1:8471"}, "")
    assert "not the page's" in OPEN.refuses("GET", {"host": "evil.example:8471"}, OPEN.key)


def test_the_addresses_hold_the_key() -> None:
    assert LOCAL.addresses() == ["http://127.0.0.1:8471/"]
    assert Guard("fe80::1", 8471, "k").addresses() == ["http://[fe80::1]:8471/?key=k"]
    for address in OPEN.addresses():
        host = address.removeprefix("http://").partition("/")[0]
        assert address.endswith(f"/?key={OPEN.key}") and OPEN.is_ours(host) and "0.0.0.0" not in host


def test_keys_differ_and_are_typed_without_doubt() -> None:
    keys = {new_key() for _ in range(200)}
    assert len(keys) == 200
    signs = "".join(keys).replace("-", "")
    assert len(signs) == 200 * GROUP * GROUPS and set(signs) == set(ALPHABET)
    assert not set("01loi") & set(ALPHABET)


@pytest.fixture
def study(tmp_path: Path) -> Path:
    folder = tmp_path / "study"
    (folder / "results" / ".drafts").mkdir(parents=True)
    for name in (
        "results/page.html",
        "results/.drafts/page.html",
        "results/.hidden.html",
        "results/take.c3d",
        "day.key",
    ):
        (folder / name).write_text("inside")
    (tmp_path / "outside.html").write_text("secret")
    return folder


def test_a_result_is_handed_out(study: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert may_be_handed_out(study / "results" / "page.html", study)
    monkeypatch.chdir(study.parent)
    assert may_be_handed_out(study / "results" / "page.html", Path("study")), "the folder as it was typed"


@pytest.mark.parametrize(
    "name",
    ["../outside.html", "results/../../outside.html", "results/../results/page.html", "results/.hidden.html",
     "results/.drafts/page.html", "results/take.c3d", "day.key", "results", "results/none.html", "%2e%2e/outside.html",
     "results/page.html\0", "results/page.html/more.html"],
)  # fmt: skip
def test_nothing_else_is_handed_out(study: Path, name: str) -> None:
    assert not may_be_handed_out(study / name, study)


def test_no_link_leads_out(study: Path, tmp_path: Path) -> None:
    (study / "link.html").symlink_to(tmp_path / "outside.html")
    (study / "within.html").symlink_to(study / "results" / "page.html")
    (study / "away").symlink_to(tmp_path)
    (study / "round.html").symlink_to(study / "round.html")
    for name in ("link.html", "within.html", "away/outside.html", "round.html"):
        assert not may_be_handed_out(study / name, study), name
    assert not may_be_handed_out(Path("/etc/passwd"), study)
    assert not may_be_handed_out(tmp_path / "outside.html", study)


def test_a_study_behind_a_link_is_the_study(study: Path, tmp_path: Path) -> None:
    """Laboratories mount their folders through links; what lies within is theirs."""
    (tmp_path / "mounted").symlink_to(study)
    assert may_be_handed_out(tmp_path / "mounted" / "results" / "page.html", tmp_path / "mounted")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_what_is_no_file_is_not_handed_out(study: Path) -> None:
    os.mkfifo(study / "results" / "pipe.html")
    assert not may_be_handed_out(study / "results" / "pipe.html", study)

"""The page over HTTP: what it gives, to whom, and what it takes."""

from __future__ import annotations

import http.client
import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from invented_day import InventedDay, question

from jointload.day_page.app import MOST_BYTES

JSON = {"Content-Type": "application/json"}


def ask(
    served: Any, path: str, method: str = "GET", body: bytes | None = None, **headers: str
) -> tuple[int, Any, bytes]:
    """Status, headers and body."""
    line = http.client.HTTPConnection("127.0.0.1", served.guard.port, timeout=10)
    try:
        line.request(method, path, body, headers)
        reply = line.getresponse()
        return reply.status, reply.headers, reply.read()
    finally:
        line.close()


def act(served: Any, words: Any, **headers: str) -> tuple[int, Any]:
    own = {"Origin": served.address.rstrip("/"), "Content-Type": "application/json"} | headers
    status, _, body = ask(served, "/act", "POST", json.dumps(words).encode(), **own)
    return status, json.loads(body) if status != 403 else body.decode()


def test_the_page_is_there_and_loads_nothing_from_elsewhere(serve: Callable[..., Any]) -> None:
    served = serve()
    status, headers, body = ask(served, "/")
    text = body.decode()
    assert status == 200 and "Nothing speaks against this landing." in text
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy and "frame-ancestors 'none'" in policy
    assert headers["cache-control"] == "no-store" and headers["x-content-type-options"] == "nosniff"
    assert "http://" not in text and "https://" not in text and "style=" not in text
    for name in ("day.css", "day.js"):
        assert ask(served, f"/page/{name}")[0] == 200
    assert ask(served, "/page/app.py")[0] == ask(served, "/page/..%2fapp.py")[0] == 404


def test_an_answer_is_done_and_a_wrong_one_told(serve: Callable[..., Any]) -> None:
    served = serve(InventedDay(questions=[question()]))
    words = {"act": "answer", "file": "take_0009.c3d", "kind": "landing", "rider": "rider_x", "condition": "flat"}
    assert act(served, words) == (409, {"problem": "riders.csv: expected a known rider, found 'rider_x'"})
    assert act(served, words | {"rider": "rider_a"}) == (200, {"problem": ""})
    assert act(served, words | {"rider": "rider_b", "kind": "static"}) == (200, {"problem": ""})
    assert served.day.asked == [
        ("answer", "take_0009.c3d", "rider_a", "landing", "flat", False),
        ("answer", "take_0009.c3d", "rider_b", "static", "", True),
    ]


def test_every_act_reaches_the_day(serve: Callable[..., Any]) -> None:
    served = serve()
    for words in (
        {"act": "leave_out", "file": "take_0001.c3d", "reason": "the rider fell"},
        {"act": "want", "rider": "rider_a", "condition": "wedge", "landings": "4"},
        {"act": "fit", "rider": "rider_a", "side": "left", "target": "peak_pressure"},
        {"act": "stop_fitting"},
        {"act": "finish"},
    ):
        assert act(served, words)[0] == 200, words
    assert served.day.asked == [
        ("leave_out", "take_0001.c3d", "the rider fell"), ("want", "rider_a", "wedge", 4),
        ("fit", "rider_a", "left", "peak_pressure"), ("stop_fitting",), ("finish",),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "words",
    [
        {"act": "remove"},
        {},
        {"act": "answer"},
        {"act": "want", "rider": "rider_a", "condition": "flat", "landings": "-1"},
    ],
)
def test_what_is_no_act_is_told(serve: Callable[..., Any], words: dict[str, str]) -> None:
    served = serve()
    status, told = act(served, words)
    assert status == 409 and told["problem"] and served.day.asked == []


@pytest.mark.parametrize("body", [b"", b"[1]", b'{"act": 1}', b"{", b"\xff", b'{"act": "' + b"x" * MOST_BYTES + b'"}'])
def test_what_is_no_answer_is_refused(serve: Callable[..., Any], body: bytes) -> None:
    served = serve()
    assert ask(served, "/act", "POST", body, Origin=served.address.rstrip("/"), **JSON)[0] == 400
    assert served.day.asked == []


def test_another_site_a_form_and_an_upload_do_nothing(serve: Callable[..., Any]) -> None:
    served = serve()
    words = {"act": "finish"}
    assert act(served, words, Origin="http://evil.example")[0] == 403
    assert act(served, words, Host="evil.example")[0] == 403
    assert act(served, words, **{"Sec-Fetch-Site": "cross-site"})[0] == 403
    assert act(served, words, **{"Content-Type": "text/plain"})[0] == 400
    own = {"Origin": served.address.rstrip("/")}
    for method, path in (("PUT", "/act"), ("POST", "/"), ("PUT", "/results/x.html"), ("DELETE", "/results/x.html"),
                         ("POST", "/events"), ("PATCH", "/trials")):  # fmt: skip
        assert ask(served, path, method, b"x", **own)[0] == 405, (method, path)
    assert served.day.asked == []


def test_the_key_opens_once_and_stays_in_the_browser(serve: Callable[..., Any]) -> None:
    served = serve(key="abcd-efgh-jkmn-pqrs")
    for path in ("/", "/events", "/page/day.js", "/results/x.html", "/?key=", "/?key=abcd-efgh-jkmn-pqrt"):
        status, headers, _ = ask(served, path)
        assert status == 403 and "set-cookie" not in headers, path
    status, headers, _ = ask(served, "/?key=abcd-efgh-jkmn-pqrs")
    kept = headers["set-cookie"]
    assert (status, headers["location"]) == (303, "/")
    assert "HttpOnly" in kept and "samesite=strict" in kept.lower()
    cookie = kept.partition(";")[0]
    assert ask(served, "/", Cookie=cookie)[0] == 200
    assert ask(served, "/", Cookie=cookie + "x")[0] == 403
    assert act(served, {"act": "finish"}, Cookie=cookie)[0] == 200
    assert act(served, {"act": "finish"})[0] == 403


def test_only_results_that_the_day_lists_are_handed_out(serve: Callable[..., Any], tmp_path: Path) -> None:
    served = serve()
    study = tmp_path / "study"
    (study / "results").mkdir(parents=True)
    for name in ("results/sheet.html", "results/insole.stl", "take.c3d"):
        (study / name).write_text("inside")
    (tmp_path / "secret.html").write_text("secret")
    (study / "results" / "out.html").symlink_to(tmp_path / "secret.html")
    served.day.paths = {
        "fit/sheet.html": study / "results" / "sheet.html", "fit/insole.stl": study / "results" / "insole.stl",
        "recording": study / "take.c3d", "up": study / ".." / "secret.html", "link": study / "results" / "out.html",
        "gone": study / "results" / "gone.html",
    }  # fmt: skip
    status, headers, body = ask(served, "/results/fit/sheet.html")
    assert (status, body) == (200, b"inside") and "sandbox" in headers["content-security-policy"]
    status, headers, _ = ask(served, "/results/fit/insole.stl")
    assert status == 200 and headers["content-disposition"].startswith("attachment")
    for path in (
        "/results/recording", "/results/up", "/results/link", "/results/gone", "/results/results/sheet.html",
        "/results/../../secret.html", "/results/%2e%2e/%2e%2e/secret.html", "/results/..%2f..%2fsecret.html",
        "/results/%252e%252e/secret.html", "/results//etc/passwd", "/results/%2fetc%2fpasswd",
        "/results/fit%5csheet.html",
        "/../secret.html", "/results/", "/results/fit/sheet.html%00",
    ):  # fmt: skip
        status, _, body = ask(served, path)
        assert status == 404 and b"secret" not in body, path


def events(served: Any, seconds: float = 5.0) -> Any:
    """The connection and, one by one, the parts that it is told."""
    line = http.client.HTTPConnection("127.0.0.1", served.guard.port, timeout=seconds)
    line.request("GET", "/events")
    reply = line.getresponse()

    def told() -> Any:
        name = ""
        for raw in reply:
            word, _, rest = raw.decode().strip().partition(": ")
            if word == "event":
                name = rest
            elif word == "data" and name == "parts":
                yield json.loads(rest)

    return line, told()


def test_two_browsers_are_told_the_same_and_one_that_comes_back_all(serve: Callable[..., Any]) -> None:
    served = serve()
    (one, first), (two, second) = events(served), events(served)
    whole = next(first)
    assert whole == next(second) == served.hub.whole()
    served.day.tell(faults=["riders.csv line 4: no mass"])
    assert next(first) == next(second) and set(served.hub.whole()) == set(whole)
    one.close()
    served.day.tell(faults=[])
    assert set(next(second)) == {"troubles"}
    again, third = events(served)
    assert next(third) == served.hub.whole()
    for line in (two, again):
        line.close()


def test_a_browser_that_is_gone_is_forgotten(serve: Callable[..., Any]) -> None:
    served = serve()
    lines = [events(served) for _ in range(5)]
    for _, told in lines:
        next(told)
    assert served.hub.listening == 5
    for line, _ in lines:
        line.close()
    until = time.monotonic() + 15
    while served.hub.listening and time.monotonic() < until:
        served.day.tell(faults=[str(time.monotonic())])
        time.sleep(0.1)
    assert served.hub.listening == 0


def test_what_a_file_is_called_is_text_and_nothing_else(serve: Callable[..., Any]) -> None:
    nasty = '<img src=x onerror="alert(1)">.c3d'
    served = serve(InventedDay(questions=[question(nasty)], faults=[nasty]))
    served.day.told["latest"] = served.day.told["latest"] | {"reason": nasty, "rider": nasty}
    _, _, body = ask(served, "/")
    assert b"<img" not in body and b"&lt;img" in body


def test_what_cannot_be_drawn_is_said(serve: Callable[..., Any]) -> None:
    served = serve()
    line, told = events(served)
    next(told)
    served.day.tell(plan={})
    assert "could not be drawn" in next(told)["troubles"]
    served.day.tell(plan=InventedDay().told["plan"])
    assert next(told)["troubles"] == ""
    line.close()


def test_a_port_in_use_is_told(serve: Callable[..., Any]) -> None:
    from jointload.day_page.server import listening
    from jointload.errors import SettingError

    served = serve()
    with pytest.raises(SettingError, match="choose another --port"):
        listening("127.0.0.1", served.guard.port)

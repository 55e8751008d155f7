"""The desk's server by its library's own test client: who may call, what is taken, what is told."""

from __future__ import annotations

import json
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

from foamwright.cli import main
from foamwright.desk import brought, server
from foamwright.desk.guard import HEADERS, POLICY
from foamwright.desk.server import PAGE, desk_app
from foamwright.desk.work import Table
from foamwright.findings import Refused

from .heron import HERON, SQUARES

TOKEN, HOST = "a-token-of-a-test", "127.0.0.1:8137"
HERE = {"Origin": f"http://{HOST}", "Sec-Fetch-Site": "same-origin"}
CHANGING = ("bring?name=a.svg", "check", "cut", "paper", "undo", "clear", "close")
Caller = Callable[..., Any]


class Closed:
    asked = False

    def __call__(self) -> None:
        self.asked = True


@pytest.fixture
def closed() -> Closed:
    return Closed()


@pytest.fixture
def client(tmp_path: Path, closed: Closed) -> Iterator[TestClient]:
    app = desk_app(Table(tmp_path), TOKEN, (HOST, "localhost:8137"), closed)
    with TestClient(app, base_url=f"http://{HOST}", raise_server_exceptions=False) as made:
        yield made


def post(client: TestClient, path: str, content: bytes = b"{}", **headers: str) -> Any:
    return client.post(f"/{TOKEN}/{path}", content=content, headers={**HERE, **headers})


def test_the_page_and_its_files(client: TestClient) -> None:
    page = client.get(f"/{TOKEN}/")
    assert page.status_code == 200
    assert page.headers["Content-Type"] == "text/html; charset=utf-8"
    for name, value in HEADERS.items():
        assert page.headers[name] == value
    for name in PAGE:
        got = client.get(f"/{TOKEN}/page/{name}")
        assert got.status_code == 200, name
        assert got.headers["Content-Type"] == PAGE[name]
    for name in ("server.py", "..%2fserver.py", "%2e%2e/guard.py", "nothing.js"):
        assert client.get(f"/{TOKEN}/page/{name}").status_code == 404


def test_every_file_of_the_page_is_served_and_nothing_in_it_is_inline_or_from_elsewhere() -> None:
    folder = Path(server.__file__).parent / "page"
    assert {f.name for f in folder.iterdir()} == set(PAGE)
    page = (folder / "index.html").read_text("utf-8")
    assert "<style" not in page
    assert " style=" not in page
    assert "onclick" not in page
    assert page.count("<script") == 1
    for file in folder.iterdir():
        text = file.read_text("utf-8").replace("http://www.w3.org/2000/svg", "")
        assert "http:" not in text, file.name
        assert "https:" not in text, file.name
        assert "innerHTML" not in text, file.name
    assert "unsafe" not in POLICY
    assert POLICY.startswith("default-src 'none'")


@pytest.mark.parametrize(
    "path", ["/", "/start", "/wrong/", f"/{TOKEN}x/", f"/{TOKEN[:-1]}/", f"/{TOKEN}", f"//{TOKEN}/"]
)
def test_without_the_token(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 403
    assert "token" in answer.text
    assert TOKEN not in answer.text


@pytest.mark.parametrize(
    "host",
    ["evil.example:8137", "127.0.0.1:80", "127.0.0.1", "", "localhost", f"{HOST}.evil.example"],
)
def test_another_host(client: TestClient, host: str) -> None:
    """A name of another site may point at this machine (DNS rebinding)."""
    answer = client.get(f"/{TOKEN}/", headers={"Host": host})
    assert answer.status_code == 403
    assert client.get(f"/{TOKEN}/", headers={"Host": "localhost:8137"}).status_code == 200


@pytest.mark.parametrize("path", CHANGING)
@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": f"https://{HOST}"},
        {"Origin": "http://127.0.0.1:9999", "Sec-Fetch-Site": "same-site"},
        {"Origin": f"http://{HOST}", "Sec-Fetch-Site": "cross-site"},
        {"Origin": f"http://{HOST}", "Sec-Fetch-Site": "none"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_cross_site_calls(
    client: TestClient, closed: Closed, path: str, headers: dict[str, str]
) -> None:
    answer = client.post(f"/{TOKEN}/{path}", content=SQUARES, headers=headers)
    assert answer.status_code == 403
    assert not closed.asked
    assert client.get(f"/{TOKEN}/start").json()["text"] is None


def test_reading_from_another_sites_page(client: TestClient) -> None:
    for headers in ({"Sec-Fetch-Site": "cross-site"}, {"Origin": "http://evil.example"}):
        assert client.get(f"/{TOKEN}/start", headers=headers).status_code == 403
    assert client.get(f"/{TOKEN}/", headers={"Sec-Fetch-Site": "none"}).status_code == 200


def test_a_web_socket_is_not_answered(client: TestClient) -> None:
    from starlette.websockets import WebSocketDisconnect

    with pytest.raises(WebSocketDisconnect), client.websocket_connect(f"/{TOKEN}/start"):
        pass


def test_nobody_changes_by_reading(client: TestClient) -> None:
    for path in CHANGING:
        assert client.get(f"/{TOKEN}/{path}").status_code == 405
    for method in ("PUT", "DELETE", "PATCH"):
        answer = client.request(method, f"/{TOKEN}/start", headers=HERE)
        assert answer.status_code == 405


def test_a_drawing_comes_in_under_a_harmless_name(client: TestClient) -> None:
    told = post(client, "bring?name=..%2F..%2Fetc%2Fmy%20squares.svg", SQUARES)
    assert told.status_code == 200
    assert told.json()["files"] == ["my-squares.svg"]
    bad = post(client, "bring?name=page.html", SQUARES)
    assert bad.status_code == 422
    assert "bring an SVG or DXF" in bad.json()["error"]
    assert post(client, "bring", SQUARES).status_code == 422


def test_too_large(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(brought, "MOST_BYTES", 1000)
    monkeypatch.setattr(server, "MOST_WORDS", 1000)
    answer = post(client, "bring?name=a.svg", bytes(1001))
    assert answer.status_code == 413
    assert post(client, "check", b" " * 1001).status_code == 413

    def endless() -> Iterator[bytes]:
        """No length is told, and it would never end."""
        for _ in range(10_000):
            yield bytes(100)

    told = client.post(f"/{TOKEN}/bring?name=a.svg", content=endless(), headers=HERE)
    assert told.status_code == 413
    assert client.get(f"/{TOKEN}/start").json()["files"] == []


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b'{"shell": 1}', b'{"cards": {"head": {}}}'])
def test_calls_that_no_page_of_ours_makes(client: TestClient, content: bytes) -> None:
    answer = post(client, "check", content)
    assert answer.status_code == 400
    assert answer.json() == {"error": "the desk doesn't understand this call"}


def test_from_a_drawing_to_a_zip(client: TestClient) -> None:
    post(client, "bring?name=squares.svg", SQUARES)
    start = client.get(f"/{TOKEN}/start").json()
    assert {m["id"] for m in start["shelf"]["machines"]} >= {"desk-laser-600"}
    cards = start["cards"]
    assert client.get(f"/{TOKEN}/zip").status_code == 409
    cards["head"]["machine"] = "desk-laser-600"
    for piece in cards["pieces"]:
        piece["material"] = "card-1mm"
    told = client.post(f"/{TOKEN}/check", json={"cards": cards}, headers=HERE).json()
    assert told["ready"]
    assert told["missing"] == []
    made = post(client, "cut").json()
    assert made["proof"]["passed"]
    got = client.get(f"/{TOKEN}/zip")
    assert got.headers["Content-Disposition"] == 'attachment; filename="squares.zip"'
    assert got.content.startswith(b"PK")
    sheet = client.get(f"/{TOKEN}/sheet")
    assert "<html" in sheet.text
    policy = sheet.headers["Content-Security-Policy"]
    assert policy.startswith("sandbox allow-scripts")
    assert "allow-same-origin" not in policy
    assert client.get(f"/{TOKEN}/pattern").status_code == 409
    assert post(client, "paper", b'{"size": "b5"}').status_code == 400
    assert post(client, "paper", b'{"size": "a3"}').json()["pages"] == 2
    pattern = client.get(f"/{TOKEN}/pattern")
    assert pattern.headers["Content-Type"] == "application/pdf"
    assert pattern.content.startswith(b"%PDF")
    job = client.get(f"/{TOKEN}/job")
    assert job.headers["Content-Disposition"] == 'attachment; filename="squares-job.zip"'
    for piece in cards["pieces"]:
        piece["material"] = "faux-fur-long-pile"
    told = client.post(f"/{TOKEN}/check", json={"cards": cards}, headers=HERE).json()
    assert "S001" in {f["code"] for f in told["findings"]}
    assert client.get(f"/{TOKEN}/zip").status_code == 409
    assert client.get(f"/{TOKEN}/sheet").status_code == 409
    stale = {"cards": cards, "edition": told["edition"] - 1}
    assert client.post(f"/{TOKEN}/check", json=stale, headers=HERE).status_code == 409
    assert post(client, "cut").json()["made"] is None
    assert post(client, "undo").json()["cards"]["pieces"][0]["material"] == "card-1mm"
    assert post(client, "clear").json()["text"] is None


def test_a_faulty_job_is_told_with_its_lines(client: TestClient) -> None:
    answer = post(client, "bring?name=job.toml", b'schema = 1\n[job]\nnam = "x"\n')
    assert answer.status_code == 422
    assert {f["code"] for f in answer.json()["findings"]} >= {"J503", "J504"}


def test_a_job_named_at_the_command_brings_its_drawings(tmp_path: Path) -> None:
    files = server.with_its_drawings(HERON / "job.toml")
    assert [f.name for f in files] == ["heron.svg", "heron-legs.layout.json", "job.toml"]
    assert server.with_its_drawings(tmp_path / "a.svg") == (tmp_path / "a.svg",)
    with pytest.raises(Refused):
        server.with_its_drawings(tmp_path / "no.toml")


def test_the_command_opens_on_loopback_and_ends_with_an_interrupt() -> None:
    command = [sys.executable, "-m", "foamwright", "desk", "--no-browser", str(HERON / "job.toml")]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert running.stdout is not None
    told = running.stdout.readline()
    try:
        found = re.fullmatch(r"the desk is open at (http://127\.0\.0\.1:\d+/([\w-]{43})/)\n", told)
        assert found, told
        with urllib.request.urlopen(found[1] + "start", timeout=60) as answer:
            start = json.loads(answer.read())
        assert len(start["sheets"]) == 6
    finally:
        running.send_signal(signal.SIGINT)
        rest, wrong = running.communicate(timeout=30)
    assert running.returncode == 0
    assert rest.endswith("the desk is closed\n")
    assert wrong == ""


def test_a_port_that_is_taken_is_told() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = str(other.getsockname()[1])
        ran = CliRunner().invoke(main, ["desk", "--no-browser", "--port", port])
    assert ran.exit_code == 2
    assert f"--port {port}" in ran.stderr


def test_closing(client: TestClient, closed: Closed) -> None:
    assert post(client, "close").json() == {"closed": True}
    assert closed.asked


def test_a_flaw_of_ours_is_one_line(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(self: Table) -> None:
        raise RuntimeError("one\ntwo")

    monkeypatch.setattr(Table, "cut", fails)
    answer = post(client, "cut")
    assert answer.status_code == 500
    assert answer.json() == {"error": "foamwright itself failed (RuntimeError: one)"}

"""Who is let in, what can be read and written, and what a page may load: asked as a program would, without a browser."""

import json
import re
import socket
from pathlib import Path

import pytest

from .conftest import copy_jobs, serve, wait_until

JOB = "21-idler-left-out-job.toml"


def test_a_page_of_another_site_can_change_nothing(served):
    before = (served.folder / JOB).read_text()
    digest = json.loads(served.get(f"/parts/{JOB}")[1])["digest"]
    body = json.dumps({"do": "lever", "lever": "differential", "position": "out", "digest": digest}).encode()
    assert served.get(f"/do/{JOB}", body, Origin="http://evil.example")[0] == 403
    assert served.get(f"/do/{JOB}", body, Origin="null")[0] == 403
    assert served.get(f"/do/{JOB}", body)[0] == 403
    assert (served.folder / JOB).read_text() == before
    assert served.get(f"/do/{JOB}", body, Origin=f"http://{served.host}")[0] == 200
    assert (served.folder / JOB).read_text() != before


def test_a_page_of_another_site_in_the_same_browser_is_shut_out(served, chromium):
    """Whatever it tries from its own script: to read, to change, to listen, to show the page in a frame of its own."""
    from http.server import BaseHTTPRequestHandler, HTTPServer
    from threading import Thread

    class Evil(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("content-type", "text/html")
            self.end_headers()
            self.wfile.write(f'<iframe src="{served.url}"></iframe>'.encode())

        def log_message(self, *said: object) -> None:
            pass

    site = HTTPServer(("127.0.0.1", 0), Evil)
    Thread(target=site.serve_forever, daemon=True).start()
    page = chromium.new_page()
    try:
        before = (served.folder / JOB).read_text()
        page.goto(f"http://127.0.0.1:{site.server_port}/")
        tried = page.evaluate(
            """async ([bench, host, job]) => {
            const read = await fetch(bench + "parts/" + job).then(a => a.text(), () => "shut out");
            const body = JSON.stringify({ do: "lever", lever: "differential", position: "out", digest: "" });
            await fetch(bench + "do/" + job, { method: "POST", mode: "no-cors", body }).catch(() => {});
            const heard = await new Promise((done) => { const line = new WebSocket(`ws://${host}/live?job=${job}`);
              line.onopen = () => done("open"); line.onclose = () => done("shut out"); });
            let framed = "shut out";
            try { framed = document.querySelector("iframe").contentDocument ? "seen" : "shut out"; } catch (fault) {}
            return [read, heard, framed]; }""",
            [served.url, served.host, JOB],
        )
        assert tried == ["shut out"] * 3
        assert (served.folder / JOB).read_text() == before
    finally:
        page.close()
        site.shutdown()
        site.server_close()


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "192.0.2.1:80", ""])
def test_a_name_that_is_pointed_at_this_computer_is_refused(served, host):
    assert served.get("/", Host=host)[0] == 403


def test_a_socket_of_another_site_is_refused(served):
    name, port = served.host.split(":")
    ask = (
        "GET /live?job=x HTTP/1.1\r\nHost: {}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\nOrigin: {}\r\n\r\n"
    )

    def answered(origin: str) -> bytes:
        with socket.create_connection((name, int(port)), timeout=5) as line:
            line.sendall(ask.format(served.host, origin).encode())
            return line.recv(100)

    assert b" 101 " in answered(f"http://{served.host}")
    assert b" 403 " in answered("http://evil.example")


@pytest.mark.parametrize(
    "name", ["../secret.toml", "..%2fsecret.toml", "%2e%2e/secret.toml", "/etc/passwd", ".bench/index.toml", "link.toml", "x.txt"]
)
def test_nothing_outside_the_folder_is_read(served, name):
    secret = served.folder.parent / "secret.toml"
    secret.write_text((served.folder / JOB).read_text())
    link = served.folder / "link.toml"
    if not link.exists():
        link.symlink_to(secret)
    for kind in ("job", "parts", "machine", "sheet/pdf", "finished", "finished-report"):
        assert served.get(f"/{kind}/{name}")[0] in (400, 404)
    link.unlink()


def test_a_page_loads_nothing_from_elsewhere_and_runs_no_script_within_its_text(served):
    _, body, headers = served.get(f"/job/{JOB}")
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy and "script-src 'self';" in policy
    # A sheet has its type and drawings within it; it may run nothing at all.
    sheet = served.get(f"/sheet/html/{JOB}")[2]["content-security-policy"]
    assert "default-src 'none'" in sheet and "script" not in sheet and "connect" not in sheet
    text = body.decode()
    assert not re.findall(r'(?:src|href)="(?:https?:)?//', text)
    assert "<script>" not in text and " style=" not in text and " onclick" not in text


def test_an_address_beyond_this_computer_opens_with_a_code_and_each_code_once(tmp_path):
    page = serve(copy_jobs(tmp_path), "--host", "127.0.0.2")
    try:
        code = page.url.partition("?code=")[2]
        page.url = page.url.partition("?")[0]
        assert page.get("/")[0] == 403
        assert page.get("/?code=guessed")[0] == 403
        # A browser keeps the cookie and is sent on; this program doesn't, and stands outside again.
        status, body, _ = page.get(f"/?code={code}")
        assert status == 403 and b"Each code opens once" in body
        assert page.get(f"/?code={code}")[0] == 403
        assert page.process.stdout and "Whoever has this address" in page.process.stdout.readline()
        assert "for the next device" in page.process.stdout.readline()
    finally:
        page.stop()


def test_the_folder_and_the_port_are_answered_for_in_a_line(capfd, tmp_path):
    from handlead.viz.command import main

    assert main(["bench", str(tmp_path / "none"), "--no-browser"]) == 2
    assert main(["bench", str(tmp_path), "--no-browser", "--host", "0.0.0.0"]) == 2
    assert main(["bench", str(tmp_path), "--no-browser", "--port", "99999"]) == 2
    told = capfd.readouterr().err.splitlines()
    assert len(told) == 3 and "isn't a folder" in told[0] and "one address" in told[1] and "65535" in told[2]


def test_a_package_that_is_missing_is_named(monkeypatch, capfd, tmp_path):
    import builtins
    import sys

    from handlead.viz.command import main

    real = builtins.__import__

    def without(name, *rest):
        if name.partition(".")[0] == "uvicorn":
            raise ImportError("no", name="uvicorn")
        return real(name, *rest)

    monkeypatch.delitem(sys.modules, "handlead.viz.bench.serving", raising=False)
    monkeypatch.setattr(builtins, "__import__", without)
    assert main(["bench", str(tmp_path), "--no-browser"]) == 2
    assert 'uvicorn: python -m pip install "handlead[bench]"' in capfd.readouterr().err


def test_a_killed_server_leaves_no_process_behind(tmp_path):
    page = serve(copy_jobs(tmp_path))
    assert page.get("/blank/08-inch-winch-job.toml")[0] == 200
    children = Path(f"/proc/{page.process.pid}/task/{page.process.pid}/children")
    if not children.exists():
        page.stop()
        pytest.skip("this system doesn't tell which processes another started")
    workers = [one for one in children.read_text().split() if b"spawn_main" in Path(f"/proc/{one}/cmdline").read_bytes()]
    assert len(workers) == 2
    page.stop()
    wait_until(lambda: not any(b"spawn_main" in _line(one) for one in workers))


def _line(process: str) -> bytes:
    path = Path(f"/proc/{process}/cmdline")
    return path.read_bytes() if path.exists() else b""

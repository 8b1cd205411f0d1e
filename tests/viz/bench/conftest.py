"""The page served over a folder of its own, and a browser that is sent there: one of each for all tests."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

SCENARIOS = Path(__file__).parents[3] / "scenarios"

#: What a browser without a screen, as root, off the net, needs; solids are drawn by the processor.
FLAGS = (
    "--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
)  # fmt: skip


@dataclass
class Served:
    """A running page: its folder and address; it can be killed and started again."""

    folder: Path
    process: subprocess.Popen[str]
    url: str
    options: tuple[str, ...] = ()
    said: list[str] = field(default_factory=list)
    at: str = ""

    @property
    def host(self) -> str:
        return self.url.split("//")[1].strip("/")

    def get(self, path: str, data: bytes | None = None, **headers: str) -> tuple[int, bytes, Any]:
        """An answer as a program gets it; header names with _ for -."""
        given = {name.replace("_", "-"): value for name, value in headers.items()}
        request = urllib.request.Request(self.url.rstrip("/") + path, data=data, headers=given)
        try:
            with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(request, timeout=30) as answer:
                return answer.status, answer.read(), answer.headers
        except urllib.error.HTTPError as fault:
            with fault:
                return fault.code, fault.read(), fault.headers

    def stop(self) -> None:
        self.process.kill()
        self.process.wait(10)
        assert self.process.stdout
        self.process.stdout.close()

    def start_again(self) -> None:
        port = self.host.rsplit(":", 1)[1]
        again = serve(self.folder, "--port", port, *self.options)
        self.process, self.url = again.process, again.url


def serve(folder: Path, *options: str) -> Served:
    """The command itself, on a free port unless told otherwise."""
    port = () if "--port" in options else ("--port", "0")
    process = subprocess.Popen(
        [sys.executable, "-m", "handlead.viz", "bench", str(folder), "--no-browser", *port, *options],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout
    line = process.stdout.readline()
    found = re.search(r"(http://\S+)", line)
    assert found, line
    served = Served(folder, process, found[1], tuple(one for one in options if one.startswith("--host")))
    served.said.append(line)
    wait_until(lambda: served.get("/static/bench.css")[0] in (200, 403))
    return served


def wait_until(is_so: Callable[[], bool], seconds: float = 15.0) -> None:
    """Wait for something that another process does."""
    import time

    end = time.monotonic() + seconds
    while True:
        try:
            if is_so():
                return
        except (OSError, AssertionError):
            pass
        assert time.monotonic() < end, "it never came to that"
        time.sleep(0.05)


def copy_jobs(folder: Path) -> Path:
    """Orders of three machines: upright, level, and in inches."""
    for name in ("21-idler-left-out", "08-inch-winch", "03-no-differential", "25-head-wrong-way", "51-plate-lost"):
        for path in (SCENARIOS / name).glob("*.toml"):
            if path.name != "expected.toml":
                shutil.copy(path, folder / f"{name}-{path.name}")
    return folder


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    page = serve(copy_jobs(tmp_path_factory.mktemp("shelf")))
    yield page
    page.stop()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """A real browser; where there is none these tests are left out, but never in CI."""
    if shutil.which("chromium") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("there is no chromium here: .ci/browser brings it in")
        pytest.skip("there is no chromium here")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as plays:
        browser = plays.chromium.launch(executable_path=shutil.which("chromium"), args=list(FLAGS))
        yield browser
        browser.close()


@dataclass
class Window:
    """A window of the browser on a page; what it complains of is kept."""

    page: Any
    complaints: list[str]

    def go(self, url: str) -> Window:
        self.page.goto(url)
        if "/job/" in self.page.url:
            self.settled()
        return self

    def settled(self) -> Window:
        """Until every part has come and the verdict stands."""
        self.page.wait_for_load_state("load")  # the page's own script runs once its text is there
        came = "() => typeof busy !== 'undefined' && busy.then(() => !!document.getElementById('part-setup').dataset.html)"
        wait_until(lambda: self.page.evaluate(came))
        return self

    def verdict(self) -> str:
        return str(self.page.inner_text("#said-verdict"))

    def blank(self) -> dict[str, str]:
        """What is measured on the blank, once it is cut for what the page shows."""
        wait_until(lambda: self.page.evaluate("() => document.body.dataset.cut === document.body.dataset.digest"), 30)
        cells = self.page.evaluate("() => [...document.querySelectorAll('[data-blank]')].map(c => [c.dataset.blank, c.textContent])")
        return dict(cells)

    def made(self, name: str) -> str:
        """What the train makes of a figure."""
        row = self.page.locator("#verdict tbody tr, #verdict table tr").filter(has=self.page.locator(f"th:text-is('{name}')"))
        return str(row.locator("td").nth(1).inner_text())

    def tap_gear(self, bracket: str, place: str, teeth: int) -> Window:
        self.page.locator(f"g[data-bracket='{bracket}'][data-place='{place}']").dispatch_event("click")
        self.page.locator(f"#choices [data-teeth='{teeth}']").click()
        return self.settled()


@pytest.fixture
def window(chromium: Any) -> Iterator[Callable[..., Window]]:
    """Opens windows; at the end none may have complained of anything."""
    opened: list[Window] = []

    def new(width: int = 1440, height: int = 900, **options: Any) -> Window:
        page = chromium.new_page(viewport={"width": width, "height": height}, **options)
        one = Window(page, [])
        page.on("pageerror", lambda fault: one.complaints.append(str(fault)))
        page.on("console", lambda said: said.type == "error" and one.complaints.append(said.text))
        page.set_default_timeout(15_000)
        opened.append(one)
        return one

    yield new
    for one in opened:
        one.page.close()
    stopped = ("ERR_CONNECTION_", "ERR_SOCKET_NOT_CONNECTED", "ERR_EMPTY_RESPONSE", "closed before")  # the server was
    told = [said for one in opened for said in one.complaints if not any(each in said for each in stopped)]
    assert not [said for said in told if "status of 4" not in said], told

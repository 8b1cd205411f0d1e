"""Small pictures of the job's page on three machines, to be looked at as a machinist would: legible, right way up, in grey.

    python tests/viz/bench/pictures.py

They stand in `reference/`, upright, level and in inches, and the page of a finished gear with its answer; nothing
compares them, eyes do.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from io import BytesIO
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
ROOT = HERE.parents[2]
DRUM = "92-cloud-drum-wheel"
ORDERS = {"upright": "21-idler-left-out", "level": "94-footlight-roller", "inch": "08-inch-winch"}


def main() -> None:
    """Draw them anew."""
    sys.path.insert(0, str(ROOT / "tests" / "benchmarks"))
    from bench_page import FLAGS, start
    from PIL import Image
    from playwright.sync_api import sync_playwright

    folder = Path(tempfile.mkdtemp())
    for path in (ROOT / "scenarios" / DRUM).glob("*.csv"):
        shutil.copy(path, folder)
    shutil.copy(ROOT / "scenarios" / DRUM / "job.toml", folder / "finished.toml")
    for name, order in ORDERS.items():
        shutil.copy(ROOT / "scenarios" / order / "job.toml", folder / f"{name}.toml")
    process, url, _ = start(folder)
    try:
        with sync_playwright() as plays:
            flags = [*FLAGS, "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
            browser = plays.chromium.launch(executable_path=shutil.which("chromium"), args=flags)
            for name in (*ORDERS, "finished"):
                drawn = _answered if name == "finished" else _whole
                address = f"{url}{'finished' if name == 'finished' else 'job'}/{name}.toml"
                shot = Image.open(BytesIO(drawn(browser.new_page(viewport={"width": 800, "height": 1280}), address)))
                small = shot.convert("L").resize((480, shot.height * 480 // 800), Image.Resampling.LANCZOS)
                small.quantize(8).save(HERE / "reference" / f"{name}.png", optimize=True)
            browser.close()
    finally:
        process.kill()
        shutil.rmtree(folder)


def _whole(page: Any, address: str) -> bytes:
    """The page from top to bottom, blank cut, train drawn with a link lit, the gear shown."""
    page.set_default_timeout(90_000)
    page.goto(address)
    page.wait_for_timeout(2000)
    # The verdict stays in sight by lying over the rest: here it stays at its place.
    page.evaluate("() => { Object.assign(document.querySelector('aside').style, { position: 'static', maxHeight: 'none' }); }")
    page.click("#train-go")
    page.locator(".tapped[data-link='index worm']").first.dispatch_event("click")
    page.click("#gear-go")
    page.wait_for_function("() => !!window.gearState && !!gearState().up")
    page.click("#gear-run")
    page.wait_for_function("() => document.body.dataset.cut === document.body.dataset.digest")
    height = page.evaluate("() => document.documentElement.scrollHeight")
    page.set_viewport_size({"width": 800, "height": height + 20})
    page.wait_for_timeout(2500)
    return page.screenshot()


def _answered(page: Any, address: str) -> bytes:
    """The page of a finished gear: fields for a reading every third space, all records asked, what would be written."""
    page.set_default_timeout(90_000)
    page.goto(address)
    for box in page.locator("[data-record]").all():
        box.check()
    page.click("#by-hand > summary")
    page.select_option("#k-counted", "clockwise")
    page.fill("#k-every", "3")
    page.press("#k-every", "Tab")
    page.wait_for_function("() => document.querySelectorAll('[data-reading]').length === 22")
    for at, typed in enumerate(("-3", "-2", "-1.5", "1o")):
        page.fill(f"[data-reading='t:{at}']", typed)
    page.wait_for_function("() => !!document.querySelector('#grid [aria-invalid]')")
    page.click("#ask-go")
    page.click("#copy-machine")
    page.wait_for_selector("#write-go")
    page.wait_for_function("() => document.querySelector('.chart img').naturalWidth > 0")
    page.evaluate("() => { document.querySelector('.bar').style.position = 'static'; }")
    page.set_viewport_size({"width": 800, "height": page.evaluate("() => document.documentElement.scrollHeight") + 20})
    page.wait_for_timeout(500)
    return page.screenshot()


if __name__ == "__main__":
    main()

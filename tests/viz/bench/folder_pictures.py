"""Small grey pictures of machines, shelf and survey on the page, to be looked at: do they read in bright light, without colour?

    python tests/viz/bench/folder_pictures.py

renews `pictures/`; look at each before it is kept. Nothing is asserted of them: every browser sets type its own way, and what
must hold of the page (nothing cut off, targets for a finger, contrast) is tested by measure.
"""

from __future__ import annotations

import io
import shutil
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[3]))
from tests.viz.bench.conftest import FLAGS, SCENARIOS, copy_jobs, serve, wait_until

OUT = Path(__file__).with_name("pictures")

#: Name, address, window, and what is shown of it.
PICTURES = (
    ("machine-level-inch-screen", "machine/lenthall", (1440, 900), ""),
    ("machine-level-inch-tablet", "machine/lenthall", (800, 1280), "rules"),
    ("machine-level-inch-telephone", "machine/lenthall", (390, 800), "rules"),
    ("machine-not-whole-tablet", "machine/lost", (800, 1280), "count"),
    ("machine-new-link-tablet", "machine/lost", (800, 1280), "add"),
    ("machine-changed-elsewhere-tablet", "machine/lost", (800, 1280), "elsewhere"),
    ("shelf-tablet", "?words=winch", (800, 1280), ""),
    ("survey-tablet", "survey", (800, 1280), "survey"),
)


def main() -> None:
    folder = Path(tempfile.mkdtemp(), "workshop")
    folder.mkdir()
    copy_jobs(folder)
    text = (SCENARIOS / "95-written-from-paper/machine/lenthall-5.toml").read_text()
    (folder / "lenthall.toml").write_text(text)
    (folder / "lost.toml").write_text(text.replace("teeth = 48", 'teeth = "?"'))
    OUT.mkdir(exist_ok=True)
    served = serve(folder)
    try:
        with sync_playwright() as plays:
            browser = plays.chromium.launch(executable_path=shutil.which("chromium"), args=list(FLAGS))
            for name, address, (width, height), part in PICTURES:
                page = browser.new_page(viewport={"width": width, "height": height})
                page.goto(served.url + address)
                if "machine/" in address:
                    wait_until(lambda page=page: page.evaluate("() => !!document.body.dataset.drawn"), 60)
                show(page, part, folder)
                page.wait_for_timeout(500)
                keep(page.screenshot(), OUT / f"{name}.png")
                page.close()
            browser.close()
    finally:
        served.stop()
        shutil.rmtree(folder.parent)


def show(page: Page, part: str, folder: Path) -> None:
    """What the picture is of, in sight."""
    if part == "rules":
        page.fill("#plate-0", "16")
        page.press("#plate-0", "Tab")
        page.wait_for_selector("text=the same, as far")
        page.evaluate("() => document.querySelector('#m-rules').scrollIntoView()")
    elif part == "count":
        page.click("#fit-go")
        page.wait_for_selector("#n--by", timeout=60_000)
        page.evaluate("() => document.querySelector('#m-fit').scrollIntoView()")
    elif part == "add":
        page.click("[data-add='worm gear']")
        page.wait_for_selector("#choices[open] form")
    elif part == "elsewhere":
        file = folder / "lost.toml"
        file.write_text(file.read_text().replace("rpm = 1200", "rpm = 1440"))
        page.wait_for_selector(".conflict", timeout=20_000)
        page.evaluate("() => scrollTo(0, 0)")
    elif part == "survey":
        page.check("#jobs input[value='08-inch-winch-job.toml']")
        page.check("#machines input[value='lenthall']")
        page.click("#survey-go")
        page.wait_for_selector("text=All 1 looked at", timeout=60_000)
        page.evaluate("() => document.querySelector('#h-table').scrollIntoView()")


def keep(shot: bytes, path: Path) -> None:
    """Half as large, in sixteen greys: what must be read in grey is looked at in grey."""
    image = Image.open(io.BytesIO(shot)).convert("L")
    small = image.resize((image.width // 2, image.height // 2), Image.Resampling.LANCZOS)
    small.quantize(16).save(path, optimize=True)


if __name__ == "__main__":
    main()

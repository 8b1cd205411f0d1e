"""Whole ways through the page: from an empty folder to a sheet, a machine from a description, by keys and by touch alone."""

import pytest
from handlead import machines

from .conftest import serve, wait_until

#: The widths that people have at a machine: a screen, an old tablet upright, a telephone.
WIDTHS = [(1440, 900), (800, 1280), (390, 800)]

PAGES = ["", "job/21-idler-left-out-job.toml", "job/08-inch-winch-job.toml", "job/03-no-differential-job.toml",
         "machine/tesmore-d2", "machine/51-plate-lost-machine", "survey", "sample", "rack/hobs.toml", "finished/08-inch-winch-job.toml"]  # fmt: skip


def test_from_an_empty_folder_to_a_sheet_for_a_pair(tmp_path, window):
    served = serve(tmp_path)
    try:
        one = window()
        one.page.add_init_script("if (self !== top) window.print = () => { top.printed = location.pathname; };")
        one.page.goto(served.url)
        one.page.fill("#new-title", "Winch for the south tower")
        one.page.select_option("#new-machine", "corvane-7")
        one.page.click("#new-go")
        one.settled()
        # A page that was only just opened asks for the drawing, and speaks of no file.
        assert "Enter what the drawing says" in one.page.inner_text("#verdict")
        assert "[work]" not in one.page.inner_text("#part-drawing")
        for key, value in (("work-teeth", "23"), ("work-size", "3"), ("work-helix-angle", "22d"), ("work-face-width", "35"),
                           ("mate-teeth", "74"), ("hob-size", "3"), ("hob-lead-angle", "2d 9m"), ("hob-diameter", "80"),
                           ("hob-outside-diameter", "87.5"), ("hob-gashes", "10")):  # fmt: skip
            if key == "mate-teeth":
                # What is missing yet is said in the verdict, in the words of the page.
                assert "what is marked on the hob" in one.page.inner_text("#verdict")
            if key == "mate-teeth" and not one.page.locator("#f-mate-teeth").is_visible():
                one.page.click("summary:text-is('Mate')")
            one.page.fill(f"#f-{key}", value)
            one.page.press(f"#f-{key}", "Tab")
            one.settled()
        one.page.select_option("#f-work-kind", "helical")
        one.settled().page.select_option("#f-work-hand", "right")
        one.settled()
        file = tmp_path / "winch-for-the-south-tower.toml"
        wait_until(file.exists)
        one.page.click("#plan-go")
        wait_until(lambda: one.page.locator("#planned button").count() > 1, 60)
        one.page.locator("text=Make its job").first.click()
        one.page.wait_for_url("**-mate.toml")
        assert "✓ AS WANTED" in one.settled().verdict()
        one.go(f"{served.url}job/{file.name}")
        one.page.click("#plan-go")
        wait_until(lambda: one.page.locator("#planned button").count() > 1, 60)
        one.page.locator("text=Take this set-up").first.click()
        wait_until(lambda: "✓ AS WANTED" in one.settled().verdict())
        one.page.click("#sheet-print")
        wait_until(lambda: one.page.evaluate("() => window.printed") == f"/sheet/html/{file.name}", 60)
        assert "-mate.toml" in (one.page.locator("#part-sheet a[href*='/job/']").get_attribute("href") or "")
        status, body, headers = served.get(f"/sheet/pdf/{file.name}")
        assert status == 200 and body.startswith(b"%PDF") and headers["content-type"] == "application/pdf"
        from io import BytesIO

        from pypdf import PdfReader

        pages = len(PdfReader(BytesIO(body)).pages)
        assert pages >= 2
        # On paper out of the browser it is the same: its type and drawings are let in by the page's own policy.
        one.page.goto(f"{served.url}sheet/html/{file.name}")
        assert len(PdfReader(BytesIO(one.page.pdf(prefer_css_page_size=True))).pages) == pages
        for name in (file, tmp_path / "winch-for-the-south-tower-mate.toml"):
            assert machines.prove(machines.read_job(name)).is_as_wanted
    finally:
        served.stop()


def test_a_worn_gear_becomes_a_job(tmp_path, window):
    served = serve(tmp_path)
    try:
        one = window()
        one.page.goto(f"{served.url}sample")
        for key, value in (("title", "Snow drum"), ("teeth", "33"), ("outside_diameter", "111.0"),
                           ("span-0-teeth", "3"), ("span-0-length", "24.66"), ("span-1-teeth", "4"),
                           ("span-1-length", "34.31")):  # fmt: skip
            one.page.fill(f"#s-{key}", value)
        one.page.select_option("#s-hand", "none")
        one.page.click("#sample-go")
        assert "pitch 8" in one.page.locator("h3").first.inner_text()
        one.page.locator("text=Make a job of it").first.click()
        one.page.wait_for_url("**/job/**")
        assert machines.read_job(tmp_path / "snow-drum.toml").work.teeth == 33
    finally:
        served.stop()


def test_keys_alone_exchange_a_gear(served, window):
    one = window().go(f"{served.url}job/08-inch-winch-job.toml")
    one.page.focus("g[data-bracket='index gears'][data-place='0']")
    one.page.keyboard.press("Enter")
    one.page.wait_for_selector("#choices[open] [aria-current]")
    assert one.page.evaluate("() => document.activeElement.dataset.teeth") == "24"
    one.page.keyboard.press("Tab")
    teeth = one.page.evaluate("() => document.activeElement.dataset.teeth")
    one.page.keyboard.press("Enter")
    wait_until(lambda: machines.read_job(served.folder / "08-inch-winch-job.toml").setup.change["index gears"].gears[0] == int(teeth))
    one.settled()
    # The hand is still where it was, so that the next gear is a key away.
    assert one.page.evaluate("() => document.activeElement.dataset.place") == "0"


def test_touch_alone_exchanges_a_gear_on_a_tablet(served, window):
    one = window(800, 1280, has_touch=True).go(f"{served.url}job/21-idler-left-out-job.toml")
    at = one.page.locator("rect.spot[data-bracket='feed gears'][data-place='3']")
    at.scroll_into_view_if_needed()
    at.tap()
    one.page.locator("#choices [data-teeth='30']").tap()
    wait_until(lambda: machines.read_job(served.folder / "21-idler-left-out-job.toml").setup.change["feed gears"].gears[3] == 30)


@pytest.mark.parametrize(("width", "height"), WIDTHS)
def test_nothing_is_cut_off_and_every_target_takes_a_finger(served, window, width, height):
    one = window(width, height)
    for page in PAGES:
        one.go(f"{served.url}{page}")
        assert one.page.evaluate("() => document.documentElement.scrollWidth <= innerWidth"), page
        small = one.page.evaluate(
            """() => [...document.querySelectorAll('button, select, input:not([type=hidden]), summary, a, rect.spot')]
            .map(each => [each, (each.type === 'checkbox' || each.type === 'radio' ? each.closest('label') : each).getBoundingClientRect()])
            .filter(([each, box]) => box.width && (box.height < 43.5 || box.width < 43.5))
            .map(([each, box]) => each.outerHTML.slice(0, 80) + ' ' + box.width.toFixed() + ' x ' + box.height.toFixed())"""
        )
        assert not small, f"{page}: {small[:5]}"


def test_an_accessibility_checker_finds_nothing_serious(served, window):
    from axe_playwright_python.sync_playwright import Axe

    one = window()
    found = []
    for page in PAGES:
        one.go(f"{served.url}{page}")
        one.page.evaluate("() => document.querySelectorAll('details').forEach(each => { each.open = true; })")
        if page == PAGES[2]:  # one with the gears for a place, a plan and what each field means in sight
            one.page.click("#explain")
            one.page.click("#plan-go")
            wait_until(lambda: one.page.locator("#planned button").count() > 1, 60)
            one.page.locator("g[data-bracket='index gears']").first.dispatch_event("click")
            one.page.wait_for_selector("#choices[open] [data-teeth]")
        for violation in Axe().run(one.page).response["violations"]:
            if violation["impact"] in ("serious", "critical"):
                found.append(f"{page}: {violation['id']}: {violation['nodes'][0]['html'][:120]}")
    assert not found, found

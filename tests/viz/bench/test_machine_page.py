"""A machine's page in a real browser: written from a description, its lost numbers counted, its file changed elsewhere."""

import json

import pytest
from handlead import machines

from .conftest import SCENARIOS, copy_jobs, serve, wait_until

LOST = "51-plate-lost-machine"


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    page = serve(copy_jobs(tmp_path_factory.mktemp("machines")))
    yield page
    page.stop()


class Page:
    """A machine's page, entered as a person would."""

    def __init__(self, page):
        self.page = page

    def changed(self, act):
        """Until the page has taken what was entered."""
        before = self.page.get_attribute("body", "data-digest")
        act()
        wait_until(lambda: self.page.get_attribute("body", "data-digest") != before)
        return self

    def add(self, kind, **answers):
        """One more link, shaft or slide, by its picture."""
        self.page.click(f"[data-add='{kind}']")
        self.page.wait_for_selector("#choices[open] form")
        for name, value in answers.items():
            name = {"from_": "from", "from_new": "from new", "to_new": "to new"}.get(name, name)
            box = self.page.locator(f"#choices [name='{name}']")
            if box.evaluate("box => box.tagName") == "SELECT":
                box.select_option(value)
            else:
                box.fill(value)
        return self.changed(lambda: self.page.click("#choices form button"))

    def put(self, mark, value):
        box = self.page.locator(f"[id='{mark}']")
        box.evaluate("box => { for (let at = box.closest('details'); at; at = at.parentNode.closest('details')) at.open = true; }")
        if box.evaluate("box => box.tagName") == "SELECT":
            return self.changed(lambda: box.select_option(value))
        box.fill(value)
        return self.changed(lambda: box.press("Tab"))

    def drawn(self):
        """What stands over the drawing, once it is of what was entered."""
        wait_until(lambda: self.page.evaluate("() => !!document.body && !!document.body.dataset.digest && document.body.dataset.drawn === document.body.dataset.digest"), 30)
        return self.page.inner_text("#train-in")


def test_a_machine_is_written_from_its_description_and_its_constants_are_right(shelf, window):
    one = window()
    one.page.goto(shelf.url)
    one.page.fill("#nm-title", "Copse 2")
    one.page.click("#nm-go")
    one.page.wait_for_url("**/machine/copse-2")
    page = Page(one.page)
    assert "hob, table: no link touches it yet" in page.drawn()
    page.add("belt", name="motor belt", from_="motor", to_new="main shaft", **{"diameters.0": "100", "diameters.1": "300"})
    page.add("gear pair", name="hob gears", from_="main shaft", to="hob", **{"teeth.0": "20", "teeth.1": "60"})
    page.add("gear pair", name="index drive", from_="main shaft", to_new="index shaft", **{"teeth.0": "24", "teeth.1": "24"})
    page.add("change gears", name="index gears", from_="index shaft", to_new="worm shaft")
    page.add("worm gear", name="index worm", from_="worm shaft", to="table", starts="1", teeth="60")
    # What is missing is told over the drawing, and marked where it is missing.
    assert "index worm: sense not known yet" in page.drawn()
    assert one.page.locator(".lack").count() == 1
    assert "index worm" not in (shelf.folder / "copse-2.toml").read_text()
    page.put("link-4-sense", "same")
    machine = machines.read_machine(shelf.folder / "copse-2.toml")
    # By hand: hob 1/3 of the main shaft, worm the index gears' part of it: 60 / 3 = 20 k/z.
    (rules, *_) = machines.constants(machine).sets
    assert abs(rules.constants.index.constant) == 20
    assert "20" in one.page.inner_text(".rules")
    for plate, says in (("20.0", "the same"), ("24", "DIFFERS: plate over train 1.2")):
        one.page.fill("#plate-0", plate)
        one.page.press("#plate-0", "Tab")
        wait_until(lambda says=says: says in one.page.inner_text(".rules"))
    page.put("link-3-bracket-module", "2.5").put("limits-work_diameter", "400")
    machine = machines.read_machine(shelf.folder / "copse-2.toml")
    assert machine.train.link("index gears").bracket["module"] == 2.5 and machine.limits.work_diameter == 400
    # A link taken out leaves the file as it was last whole, and comes back with Undo.
    before = (shelf.folder / "copse-2.toml").read_text()
    page.changed(lambda: one.page.locator("#link-4 button:has-text('Take this link out')").dispatch_event("click"))
    assert "table: no link touches it yet" in page.drawn()
    page.changed(lambda: one.page.click("text=Undo"))
    assert (shelf.folder / "copse-2.toml").read_text() == before
    assert "not known" not in page.drawn() and "touches" not in page.drawn()


def test_the_next_turn_is_asked_for_with_a_field_for_what_was_counted(shelf, window):
    one = window()
    one.page.goto(f"{shelf.url}machine/{LOST}")
    one.page.click("#fit-go")
    wait_until(lambda: one.page.locator("#n--by").count(), 60)
    asked = one.page.inner_text("#fitted .ask")
    turned, moved = (one.page.input_value(f"#fitted [name='{name}']") for name in ("turned", "moved"))
    assert f'"{turned}"' in asked and f'"{moved}"' in asked
    one.page.fill("#n--by", "2 1/2")
    one.page.click("text=Counted")
    file = shelf.folder / f"{LOST}-counted.toml"
    wait_until(file.exists)
    # It is written down as the machine stood when it was counted, and asked again.
    known = machines.read_unfitted(shelf.folder / f"{LOST}.toml").machine
    (seen,) = machines.read_observations(file, known).seen
    assert seen.turned.part == turned and dict(seen.setup.levers) == {"differential": "in"} and seen.setup.change
    wait_until(lambda: "Trying" not in one.page.inner_text("#fitted"), 60)
    one.page.click("text=Take this count out")
    wait_until(lambda: not one.page.locator("#machine-in ol").first.locator("text=moved").count())


def test_numbers_that_are_lost_are_found_by_counting(shelf, window):
    for what in ("machine", "counted"):
        (shelf.folder / f"lost{'-counted' if what == 'counted' else ''}.toml").write_text(
            (shelf.folder / f"51-plate-lost-{what}.toml").read_text()
        )
    one = window().go(f"{shelf.url}machine/lost")
    one.page.click("#fit-go")
    wait_until(lambda: one.page.locator("#fitted table").count(), 60)
    assert "48" in one.page.inner_text("#fitted tr:has-text('index worm, teeth')")
    one.page.click("#fit-write")
    wait_until(lambda: '= "?"' not in (shelf.folder / "lost.toml").read_text(), 30)
    assert machines.read_machine(shelf.folder / "lost.toml").name == "Dunmarrow 6"


@pytest.mark.parametrize("ours", [False, True], ids=["theirs", "ours"])
def test_a_machine_file_changed_elsewhere_is_shown_beside_and_one_is_chosen(shelf, window, ours):
    file = shelf.folder / f"beside-{ours}.toml"
    file.write_text((shelf.folder / f"{LOST}.toml").read_text())
    one = window()
    one.page.goto(f"{shelf.url}machine/{file.stem}")
    theirs = file.read_text() + "# by hand\n"
    digest = one.page.get_attribute("body", "data-digest")
    file.write_text(theirs)
    what = {"do": "set", "path": ["limits", "face_width"], "value": "77", "digest": digest}
    status, told, _ = shelf.get(f"/machine-do/{file.stem}", json.dumps(what).encode(), Origin=f"http://{shelf.host}")
    assert status == 409 and b"# by hand" in told and b"limits face_width = 77" in told
    assert file.read_text() == theirs
    # The window sees it by itself, each line that differs marked, and asks for one of both.
    wait_until(lambda: one.page.locator(".conflict .only-left:has-text('# by hand')").count() == 1)
    assert one.page.locator(".conflict tr:not(.same):not(.left-out):not(:has(th))").count() == 1
    page = Page(one.page)
    if ours:
        page.changed(lambda: one.page.click("#take-ours"))
        assert "# by hand" not in file.read_text()
    else:
        one.page.click("#take-theirs")
        wait_until(lambda: not one.page.locator(".conflict").count())
        assert file.read_text() == theirs
    # What wasn't chosen can be brought back.
    one.page.locator("#more-versions summary").click()
    assert one.page.locator("#more-versions li").count() > 1


def test_what_was_entered_and_is_not_whole_meets_a_file_changed_elsewhere(shelf, window):
    file = shelf.folder / "not-whole.toml"
    file.write_text((shelf.folder / f"{LOST}.toml").read_text())
    one = window()
    one.page.goto(f"{shelf.url}machine/not-whole")
    page = Page(one.page).add("gear pair", name="new gears", from_="motor")
    assert "new gears" not in file.read_text()
    theirs = file.read_text() + "# by hand\n"
    file.write_text(theirs)
    one.page.reload()
    assert one.page.locator(".conflict .only-right:has-text('new gears')").count() == 1
    page.changed(lambda: one.page.click("#take-theirs"))
    assert file.read_text() == theirs and "new gears" not in one.page.inner_text("#machine-in")


#: What doesn't fit into the window, or is too small for a finger: the open dialog's things, or the page's.
MEASURED = """() => [...document.querySelectorAll('button, select, input:not([type=hidden]), summary, a')]
    .map(each => [each, (each.type === 'checkbox' ? each.closest('label') : each).getBoundingClientRect()])
    .filter(([each, box]) => box.width && (box.height < 43.5 || box.width < 43.5 || box.right > innerWidth + 1 || box.left < -1))
    .map(([each, box]) => each.outerHTML.slice(0, 80) + ' ' + box.width.toFixed() + ' x ' + box.height.toFixed())"""


@pytest.fixture(scope="module")
def lenthall(shelf):
    """A level machine in inches of the folder's own, with one number that isn't known."""
    text = (SCENARIOS / "95-written-from-paper/machine/lenthall-5.toml").read_text()
    (shelf.folder / "lenthall.toml").write_text(text.replace("teeth = 48", 'teeth = "?"'))
    return f"{shelf.url}machine/lenthall"


@pytest.mark.parametrize(("width", "height"), [(800, 1280), (390, 800)])
def test_with_everything_open_nothing_is_cut_off_and_a_checker_finds_nothing(shelf, lenthall, window, width, height):
    from axe_playwright_python.sync_playwright import Axe

    one = window(width, height)
    one.page.goto(lenthall)
    page = Page(one.page)
    assert "index worm: teeth not known yet" in page.drawn()
    one.page.evaluate("() => document.querySelectorAll('details').forEach(each => { each.open = true; })")
    for kind in (None, "differential", "selector"):
        if kind:
            one.page.evaluate("() => document.querySelector('#choices').close()")
            one.page.locator(f"[data-add='{kind}']").dispatch_event("click")
            one.page.wait_for_selector(f"#choices[open] h2:has-text('{kind}')")
        assert not one.page.evaluate(MEASURED), kind
        assert one.page.evaluate("() => document.documentElement.scrollWidth <= innerWidth"), kind
        if width == 800 and kind in (None, "selector"):
            told = [each for each in Axe().run(one.page).response["violations"] if each["impact"] in ("serious", "critical")]
            assert not told, [(each["id"], each["nodes"][0]["html"][:120]) for each in told]


def test_a_shaft_and_a_link_are_added_by_keys_alone(shelf, window):
    (shelf.folder / "keys.toml").write_text((SCENARIOS / "95-written-from-paper/machine/lenthall-5.toml").read_text())
    one = window()
    one.page.goto(f"{shelf.url}machine/keys")
    keys = one.page.keyboard
    one.page.focus("[data-add='gear pair']")
    keys.press("Enter")
    one.page.wait_for_selector("#choices[open] form")
    for step in ("pump gears", "first", "", "", "pump shaft", "30", "45"):
        keys.type(step)
        keys.press("Tab")
    for _ in range(3):
        keys.press("Tab")
    keys.press("Enter")
    wait_until(lambda: "pump gears" in (shelf.folder / "keys.toml").read_text())
    link = machines.read_machine(shelf.folder / "keys.toml").train.link("pump gears")
    assert link.ports == ("first shaft", "pump shaft") and link.teeth == (30, 45)
    # The hand is back where it was, and a part of the drawing is reached and told of by keys as well.
    wait_until(lambda: one.page.evaluate("() => document.activeElement.dataset.add") == "gear pair")
    Page(one.page).drawn()
    one.page.focus(".tapped[data-part='hob']")
    keys.press("Enter")
    wait_until(lambda: one.page.locator("#train-said tr").count() == 4)


def test_touch_alone_moves_a_lever_and_changes_a_link(shelf, window):
    file = shelf.folder / "touched.toml"
    file.write_text((SCENARIOS / "95-written-from-paper/machine/lenthall-5.toml").read_text())
    one = window(800, 1280, has_touch=True)
    one.page.goto(f"{shelf.url}machine/touched")
    page = Page(one.page)
    page.drawn()
    one.page.locator(".tapped[data-link='index worm']").dispatch_event("click")
    one.page.locator("text=Change this link").tap()
    box = one.page.locator("#link-8-teeth")
    box.tap()
    box.fill("60")
    page.changed(lambda: one.page.locator("#link-8 summary").first.tap())
    assert machines.read_machine(file).train.link("index worm").teeth == 60


def test_two_windows_on_one_machine_see_each_other(shelf, window):
    (shelf.folder / "both.toml").write_text((SCENARIOS / "95-written-from-paper/machine/lenthall-5.toml").read_text())
    one, other = window(), window()
    for each in (one, other):
        each.page.goto(f"{shelf.url}machine/both")
        Page(each.page).drawn()
    Page(one.page).put("limits-work_diameter", "11")
    wait_until(lambda: other.page.input_value("[id='limits-work_diameter']") == "11")
    assert not other.page.locator(".conflict").count()


@pytest.mark.parametrize(
    "sent",
    [
        "[]", "7", "null", "not json", "{}", '{"do": "set"}', '{"do": "set", "path": "name", "value": "x"}',
        '{"do": "set", "path": ["link", 0, {"a": 1}], "value": "x"}', '{"do": "set", "path": ["link", -1, "name"], "value": "x"}',
        '{"do": "version", "number": "x"}', '{"do": "fits", "number": "x", "fits": 7}', '{"do": "count out", "number": []}',
        '{"do": "named", "path": ["limits"], "name": "x"}', '{"do": "row", "table": "shafts", "kind": ""}',
        '{"do": "add", "kind": "gear pair", "name": "x", "teeth.0": 7}', '{"do": "out", "path": ["link", 999]}',
    ],
)  # fmt: skip
@pytest.mark.parametrize("address", ["machine-do", "machine-choose"])
def test_what_no_page_sends_is_refused_in_words_and_changes_nothing(shelf, address, sent):
    file = shelf.folder / f"{LOST}.toml"
    before = file.read_text()
    digest = json.loads(shelf.get(f"/machine-state/{LOST}")[1])["digest"]
    body = sent.replace("{", f'{{"digest": "{digest}", ', 1) if sent.startswith("{") and len(sent) > 2 else sent
    status, told, _ = shelf.get(f"/{address}/{LOST}", body.encode(), Origin=f"http://{shelf.host}")
    assert status in (400, 409) and told and file.read_text() == before

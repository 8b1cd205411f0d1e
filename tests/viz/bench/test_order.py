"""Order 94 as it is told: a gear that was misread, found with a finger on a tablet, on the level machine."""

import shutil
import tomllib

import pytest
from handlead import machines

from .conftest import SCENARIOS, serve, wait_until

ORDER = SCENARIOS / "94-footlight-roller"


@pytest.fixture(scope="module")
def order(tmp_path_factory):
    folder = tmp_path_factory.mktemp("order")
    shutil.copy(ORDER / "job.toml", folder)
    page = serve(folder)
    yield page
    page.stop()


def test_a_misread_gear_is_found_with_a_finger_and_the_sheet_printed(order, window):
    one = window(800, 1280, has_touch=True).go(f"{order.url}job/job.toml")
    one.page.evaluate("() => { window.print = () => {}; }")
    known = {row["path"]: row["value"] for row in tomllib.loads((ORDER / "expected.toml").read_text())["value"]}
    top, bottom = map(int, known["train.lead_exact"].split("/"))
    assert "✗ NOT AS WANTED" in one.verdict()
    assert one.made("lead") == f"{top / bottom:.3f} mm" == "887.727 mm"
    one.page.locator("rect.spot[data-bracket='differential gears'][data-place='2']").tap()
    offered = one.page.locator("#choices .offer button:not(.refused)")
    offered.first.wait_for()
    ticked = [text for text in offered.all_inner_texts() if "✓" in text]
    assert len(ticked) == 1 and ticked[0].split()[0] == "47"
    one.page.locator("#choices [data-teeth='47']").tap()
    wait_until(lambda: "✓ AS WANTED" in one.settled().verdict())
    # What stood there before the tap is beside it.
    assert one.page.inner_text("#verdict tr:has(th:text-is('lead')) td.before") == "887.727 mm"
    assert one.blank()["hand"] == "right"
    job = machines.read_job(order.folder / "job.toml")
    assert machines.prove(job).is_as_wanted and job.setup.change["differential gears"].gears == (33, 62, 47, 63)


def test_an_idler_that_is_tapped_out_turns_the_hand_over_and_undo_brings_it_back(order, window):
    (order.folder / "idler.toml").write_text((ORDER / "job.toml").read_text().replace("62, 48, 63", "62, 47, 63"))
    one = window().go(f"{order.url}job/idler.toml")
    assert "✓ AS WANTED" in one.verdict() and one.made("hand") == "right"
    one.page.click("#b-differential-gears >> text=Take idler 24 out")
    wait_until(lambda: "✗ NOT AS WANTED" in one.settled().verdict())
    assert one.made("hand") == "left" and one.made("helix slope") == "none to tell: wrong hand"
    assert one.page.inner_text("#verdict tr:has(th:text-is('hand')) td.before") == "right"
    one.page.click("#undo")
    wait_until(lambda: one.settled().made("hand") == "right")


def test_a_level_machine_s_work_lies_and_an_upright_one_s_stands(order, window):
    shutil.copy(SCENARIOS / "08-inch-winch" / "job.toml", order.folder / "upright.toml")
    for name, up in (("job", [0, 1, 0]), ("upright", [0, 0, 1])):
        one = window().go(f"{order.url}job/{name}.toml")
        one.page.click("#gear-go")
        wait_until(lambda one=one: one.page.evaluate("() => !!window.gearState && !!gearState().up"), 40)
        assert one.page.evaluate("() => gearState().up") == up
        words = one.page.inner_text("#gear-words")
        assert ("Drawn lying" in words) == (name == "job") and "up in this picture" not in words


def test_a_head_is_drawn_from_the_side_on_which_its_scale_is_read(order):
    """From the front all leans the other way, and turns the other way."""
    import json
    import re

    text = (machines.shipped_machines()["ombrecht-l8"]).read_text()
    (order.folder / "front.toml").write_text(text.replace("[shafts]", '[head]\nread = "from the front"\n\n[shafts]', 1))
    job = (order.folder / "job.toml").read_text()
    (order.folder / "read.toml").write_text(job.replace('"ombrecht-l8"', '"front.toml"'))

    def drawn(name):
        return json.loads(order.get(f"/parts/{name}.toml")[1])["parts"]["setup"].split('id="head"')[1]

    behind, front = drawn("job"), drawn("read")
    assert "seen from behind the hob" in behind and "seen from the front" in front
    assert "CLOCKWISE</p>" in behind and "COUNTER-CLOCKWISE</p>" in front and "COUNTER-CLOCKWISE</p>" not in behind
    hobs = [re.findall(r"-?[\d.]+", re.search(r'class="hob" points="([^"]+)"', each)[1]) for each in (behind, front)]
    assert [-float(x) for x in hobs[0][::2]] == [float(x) for x in hobs[1][::2]] and hobs[0][1::2] == hobs[1][1::2]
    # What is entered there means the same head: the way that it calls counter-clockwise is the frame's clockwise.
    assert re.search(r'<option value="clockwise" selected>counter-clockwise</option>', front)

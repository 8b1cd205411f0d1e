"""A job's file changed by another program while its page is open: shown side by side, one chosen, nothing lost."""

import json

import pytest
from handlead.viz.bench.elsewhere import side_by_side
from hypothesis import given
from hypothesis import strategies as st

from .conftest import wait_until

JOB = "21-idler-left-out-job.toml"

TEXTS = st.lists(st.sampled_from(["teeth = 74", "quality = 7", "", "# by hand", "[work]"]), max_size=30)


@given(TEXTS, TEXTS)
def test_both_texts_are_shown_whole_where_they_differ(one, other):
    lines = list(side_by_side("\n".join(one), "\n".join(other)))
    for line in lines:
        assert (line.what in ("same", "left out")) == (line.left == line.right) or line.what.startswith("only")
    assert {line.left for line in lines if line.what == "only left"} <= set(one)
    assert ("\n".join(one).splitlines() == "\n".join(other).splitlines()) == all(
        line.what in ("same", "left out") for line in lines
    )


@pytest.mark.parametrize("ours", [False, True], ids=["theirs", "ours"])
def test_an_entry_made_on_a_text_that_was_changed_waits_until_one_is_chosen(served, window, ours):
    path = served.folder / f"apart-{ours}.toml"
    path.write_text((served.folder / JOB).read_text())
    before = path.read_text()
    one = window()
    one.page.add_init_script("window.WebSocket = class { };")  # it doesn't hear in time
    one.go(f"{served.url}job/{path.name}")
    theirs = before.replace("quality = 7", "quality = 6  # by hand")
    path.write_text(theirs)
    one.page.evaluate("() => change({ do: 'field', path: 'work.teeth', value: '75' })")
    wait_until(lambda: one.page.locator(".conflict").count() == 1)
    assert path.read_text() == theirs
    # One line differs, and is marked on both sides; what was entered is named.
    assert one.page.locator(".conflict tr.other").count() == 1 and one.page.locator(".conflict [aria-label=differs]").count() == 2
    assert "work teeth = 75" in one.page.inner_text(".conflict")
    one.page.click("#take-ours" if ours else "#take-theirs")
    wait_until(lambda: not one.page.locator(".conflict").count())
    one.settled()
    if ours:
        assert path.read_text() == before.replace("teeth  = 74", "teeth  = 75")
        assert one.page.input_value("#f-work-teeth") == "75"
    else:
        assert path.read_text() == theirs
        wait_until(lambda: one.page.input_value("#f-work-quality") == "6")
    # What wasn't chosen stays among the versions.
    texts = [file.read_text() for file in (served.folder / ".bench" / "versions" / path.name).glob("*.toml")]
    assert (theirs if ours else before) in texts


def test_what_another_program_wrote_is_shown_and_what_the_page_had_can_be_put_back(served, window):
    path = served.folder / "put-back.toml"
    path.write_text((served.folder / JOB).read_text())
    before = path.read_text()
    one = window().go(f"{served.url}job/{path.name}")
    path.write_text(before.replace("face_width = 32", "face_width = 36"))
    wait_until(lambda: one.page.locator(".conflict tr.other").count() == 1)
    assert one.page.input_value("#f-work-face-width") == "36"
    one.page.click("#take-ours")
    wait_until(lambda: path.read_text() == before)


def test_a_text_that_changed_again_since_it_was_shown_is_asked_for_again(served):
    path = served.folder / "again.toml"
    path.write_text((served.folder / JOB).read_text())
    served.get(f"/job/{path.name}")
    had = json.loads(served.get(f"/parts/{path.name}")[1])["digest"]
    path.write_text(path.read_text() + "# once\n")
    shown = json.loads(served.get(f"/parts/{path.name}")[1])["digest"]
    path.write_text(path.read_text() + "# twice\n")
    body = json.dumps({"theirs": shown, "what": {"digest": had}}).encode()
    status, told, _ = served.get(f"/ours/{path.name}", body, Origin=f"http://{served.host}")
    assert status == 409 and b"# twice" in told and b'class="diff"' in told and "# twice" in path.read_text()

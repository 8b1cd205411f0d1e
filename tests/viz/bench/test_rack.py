"""The rack of hobs on its page: hung, mended, ground back, taken out; and what is wrong is told beside it."""

from urllib.parse import urlencode

import pytest
from handlead import machines
from handlead.machines.job_files.hob_rack import read_rack

from .conftest import SCENARIOS, wait_until

INCH = "08-inch-winch-job.toml"


def send(served, file, **given):
    status, body, _ = served.get(
        f"/rack/{file}", urlencode(given).encode(), Origin=f"http://{served.host}", Content_Type="application/x-www-form-urlencoded"
    )
    return status, body.decode()


def digest(served, name):
    told = served.get(f"/rack/{name}")[1].decode()
    return told.split('name="digest" value="')[1].split('"')[0]


@pytest.mark.parametrize(("units", "key", "size"), [("mm", "module", "2.5"), ("in", "diametral_pitch", "8")])
def test_a_rack_is_begun_and_a_hob_ground_back_in_it(served, units, key, size):
    folder = served.folder / f"rack-{units}"
    folder.mkdir()
    name = f"rack-{units}/hobs.toml"
    status, told = send(served, name, units=units, digest="", name="first", size=size, size_key=key, starts="1", outside_diameter="3.5")
    assert status == 200 and (folder / "hobs.toml").read_text().startswith('format = "hobs/1"')
    (hob,) = read_rack(folder / "hobs.toml").values()
    assert hob["outside_diameter"] == pytest.approx(3.5 * (25.4 if units == "in" else 1))
    before = (folder / "hobs.toml").read_text()
    # Ground to more than it was new: told, kept in the field, and nothing is written.
    given = {"place": "0", "name": "first", "size": size, "size_key": key, "starts": "1", "outside_diameter": "3.5"}
    status, told = send(served, name, digest=digest(served, name), **given, ground_to="3.6")
    assert status == 400 and "be ground to" in told and 'value="3.6"' in told
    assert (folder / "hobs.toml").read_text() == before
    assert send(served, name, digest=digest(served, name), **given, ground_to="3.45")[0] == 200
    assert "ground_to = 3.45" in (folder / "hobs.toml").read_text()
    assert send(served, name, digest=digest(served, name), do="undo")[0] == 200
    assert (folder / "hobs.toml").read_text() == before


def test_comments_stay_and_a_rack_that_was_changed_elsewhere_is_not_written_over(served):
    folder = served.folder / "house"
    folder.mkdir()
    text = (SCENARIOS / "90-months-pile" / "pile" / "hobs.toml").read_text().replace("gashes = 12", "gashes = 12  # counted", 1)
    (folder / "hobs.toml").write_text(text)
    seen = digest(served, "house/hobs.toml")
    rack = read_rack(folder / "hobs.toml")
    first = next(iter(rack))
    assert send(served, "house/hobs.toml", digest=seen, place="0", do="take out")[0] == 200
    assert list(read_rack(folder / "hobs.toml")) == list(rack)[1:]
    status, told = send(served, "house/hobs.toml", digest=seen, place="0", do="take out")
    assert status == 409 and "changed elsewhere" in told
    assert send(served, "house/hobs.toml", digest=digest(served, "house/hobs.toml"), do="undo")[0] == 200
    assert (folder / "hobs.toml").read_text() == text and first in read_rack(folder / "hobs.toml")


@pytest.mark.parametrize("name", ["jobs.toml", "../hobs.toml", INCH])
def test_no_other_file_is_taken_for_a_rack(served, name):
    assert served.get(f"/rack/{name}")[0] == 404
    assert send(served, name, digest="", name="x", size="2")[0] in (400, 403, 404)


def test_a_job_s_own_hob_is_hung_in_the_rack_and_taken_from_it(served, window):
    folder = served.folder / "hung"
    folder.mkdir()
    (folder / "job.toml").write_text((served.folder / INCH).read_text())
    before = machines.read_job(folder / "job.toml")
    one = window().go(f"{served.url}job/hung/job.toml")
    one.page.fill("#hang-name", "eight, right")
    one.page.click("text=Hang it")
    wait_until(lambda: 'hob = "eight, right"' in (folder / "job.toml").read_text())
    after = machines.read_job(folder / "job.toml")
    assert after.hob.lead_angle_deg == before.hob.lead_angle_deg and after.hob.module_n == before.hob.module_n
    assert "✓ AS WANTED" in one.settled().verdict()
    one.page.click("text=The rack of hobs")
    one.page.click("summary:has-text('eight, right')")
    assert one.page.input_value("#h-0-size") == "8"

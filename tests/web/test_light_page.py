"""The page of a reed against the light."""

from __future__ import annotations

from functools import cache
from uuid import uuid4

import httpx
import numpy as np
import pytest
from tests.lit_pictures import HIGH, MARKS, WIDE, file_of, light, thinner_left
from tests.pictures import PLACE, jpeg, png

from crowlight.bench.kinds import Described, Lengths
from crowlight.bench.light_kinds import LightMarks

from .conftest import Site, fields_of

HOSTILE = '"><script>alert(1)</script>'


@cache
def picture() -> bytes:
    return file_of(light(thickness=thinner_left(0.04e-3)), "JPEG", quality=92)


def typed() -> dict[str, str]:
    found: dict[str, str] = {"facing": "marked", "passed": "both", "reach": "", "remark": ""}
    for name in ("tip_left", "tip_right", "foot_left", "foot_right"):
        x, y = getattr(MARKS, name)
        found |= {f"{name}_x": f"{100 * x / WIDE:.3f}", f"{name}_y": f"{100 * y / HIGH:.3f}"}
    return found


@pytest.fixture
def reed(site: Site) -> str:
    path = site.add_reed("Tern")
    site.desk.write("Tern", Described(style="long"))
    site.desk.write("Tern", Lengths(overall=70.2e-3, thread_top=47e-3))
    return path


def send_photo(site: Site, reed: str, data: bytes, **changes: str) -> httpx.Response:
    form = fields_of(site.get(f"{reed}/light")) | changes
    keep = {k: v for k, v in form.items() if k in {"token", "uuid", "seen"}}
    files = {"photo": (HOSTILE, data, "image/jpeg")}
    return site.client.post(f"{reed}/light/photos", data=keep, files=files)


def send_marks(site: Site, reed: str, **changes: str) -> httpx.Response:
    page = site.get(f"{reed}/light")
    form = {**fields_of(page), **typed(), "uuid": str(uuid4()), **changes}
    return site.client.post(f"{reed}/light", data=form)


def test_the_page_is_linked_and_says_what_it_does_not_say(site: Site, reed: str):
    assert f'href="{reed}/light"' in site.get(reed).text
    page = site.get(f"{reed}/light").text
    assert "not thickness" in page
    assert "Lamps get hot" in page
    assert "common practice, no source" in page
    assert page.index("How to take it") < page.index("Keep it and mark it")


def test_a_photograph_is_sent_marked_and_answered(site: Site, reed: str):
    sent = send_photo(site, reed, picture())
    assert sent.status_code == 303
    page = site.get(sent.headers["location"])
    assert "Mark the reed" in page.text
    assert "What the photograph shows" not in page.text
    done = send_marks(site, reed, facing="marked")
    assert done.status_code == 303
    page = site.get(done.headers["location"].split("#")[0]).text
    assert "More light on the left: tip, " in page
    assert "facing the marked blade" in page
    assert "Measure here with the gauge before any cut." in page
    assert '<svg class="light-drawn"' in page
    assert 'value="26.389"' in page  # what was marked is in the form
    log = site.get(reed).text
    assert "four points marked; facing the camera: marked blade" in log


def test_what_was_typed_stays_when_something_is_wrong(site: Site, reed: str):
    send_photo(site, reed, picture())
    bad = {"tip_left_x": "abc", "tip_right_y": "140", "foot_left_x": "", "reach": "2"}
    answer = send_marks(site, reed, **bad, remark=HOSTILE)
    assert answer.status_code == 422
    page = answer.text
    assert 'value="abc"' in page
    assert 'value="140"' in page
    assert "Thread, left edge, from the left is empty; fill it in" in page
    assert "must lie between 0 and 100 %; mark the point again" in page
    assert "5 to 40 mm from the tip" in page
    assert "<script>alert" not in page
    assert site.desk.light.marked("Tern") is None


@pytest.mark.parametrize("changes", [{"facing": "sideways"}, {"passed": "three"}])
def test_choices_that_were_not_offered_are_refused(site: Site, reed: str, changes: dict[str, str]):
    send_photo(site, reed, picture())
    assert send_marks(site, reed, **changes).status_code == 422
    assert site.desk.light.marked("Tern") is None


@pytest.mark.parametrize("photo", ["", "nothing", "8d3f0c52-0f2e-4c6e-9a0b-6a1f4d2e7b90"])
def test_marks_without_a_photograph_of_this_reed_are_refused(site: Site, reed: str, photo: str):
    send_photo(site, reed, picture())
    assert send_marks(site, reed, photo=photo).status_code in {404, 422}
    assert site.desk.light.marked("Tern") is None


def test_sending_the_marks_twice_writes_once(site: Site, reed: str):
    send_photo(site, reed, picture())
    form = {**fields_of(site.get(f"{reed}/light")), **typed(), "uuid": str(uuid4())}
    assert site.client.post(f"{reed}/light", data=form).status_code == 303
    seq = site.desk.records.reed("Tern").seq
    assert site.client.post(f"{reed}/light", data=form).status_code == 303
    assert site.desk.records.reed("Tern").seq == seq


def test_a_form_without_its_token_writes_nothing(site: Site, reed: str):
    send_photo(site, reed, picture())
    assert send_marks(site, reed, **{"token": "no"}).status_code == 403
    assert site.desk.light.marked("Tern") is None


@pytest.mark.parametrize("data", [b"", b"not a picture", picture()[:300]])
def test_a_file_that_is_no_picture_is_refused(site: Site, reed: str, data: bytes):
    answer = send_photo(site, reed, data)
    assert answer.status_code == 422
    assert "<script>alert" not in answer.text
    assert site.desk.posted.photos("Tern") == ()


def test_any_photograph_of_the_reed_can_be_marked_and_is_shown_without_its_place(
    site: Site, reed: str
):
    shot = site.desk.posted.keep_photo("Tern", jpeg(6), shows="whole").entries[0].uuid
    page = site.get(f"{reed}/light?photo={shot}")
    assert f'src="{reed}/light/{shot}"' in page.text
    shown = site.get(f"{reed}/light/{shot}")
    assert PLACE not in shown.content
    assert shown.headers["content-type"] == "image/jpeg"
    assert "default-src 'none'" in shown.headers["content-security-policy"]


def test_what_cannot_be_measured_is_said_and_nothing_is_lost(site: Site, reed: str):
    shot = site.desk.light.keep("Tern", file_of(np.full((600, 300), 0.05))).uuid
    assert send_marks(site, reed, photo=str(shot)).status_code == 303
    page = site.get(f"{reed}/light").text
    assert "Cannot be told: there is no bright background" in page
    site.desk.write("Tern", Lengths(overall=50e-3))
    again = site.desk.posted.keep_photo("Tern", png(301, 600), shows="light").entries[0].uuid
    marks = site.desk.light.marked("Tern")
    assert marks is not None
    assert isinstance(marks.payload, LightMarks)
    site.desk.light.mark("Tern", marks.payload.model_copy(update={"photo": again}))
    page = site.get(f"{reed}/light", 422).text
    assert "The photograph could not be measured." in page
    assert "does not fit style" in page
    assert "Mark the reed" in page


def test_a_photograph_of_another_reed_is_not_there(site: Site, reed: str):
    other = site.add_reed("Ruff")
    shot = site.desk.posted.keep_photo("Ruff", png(40, 30), shows="light").entries[0].uuid
    assert site.get(f"{reed}/light?photo={shot}", 404).status_code == 404
    assert site.get(f"{reed}/light/{shot}", 404).status_code == 404
    assert site.get(f"{other}/light?photo={shot}").status_code == 200


def test_another_photograph_in_the_same_form_is_not_taken_for_the_first(site: Site, reed: str):
    page = site.get(f"{reed}/light")
    form = {k: v for k, v in fields_of(page).items() if k in {"token", "uuid", "seen"}}

    def send(data: bytes) -> httpx.Response:
        files = {"photo": ("a.jpg", data, "image/jpeg")}
        return site.client.post(f"{reed}/light/photos", data=form, files=files)

    assert send(picture()).status_code == 303
    assert send(picture()).status_code == 303  # its reply was lost: sent again, written once
    answer = send(file_of(light(), "JPEG"))
    assert answer.status_code == 409
    assert "Photograph kept" not in answer.text
    assert len(site.desk.posted.photos("Tern")) == 1
    assert form["uuid"][0] not in fields_of(answer)["uuid"]  # the next try is a form of its own


def test_marks_typed_for_a_photograph_that_is_gone_stay_in_sight(site: Site, reed: str):
    send_photo(site, reed, picture())
    (shot,) = site.desk.posted.photos("Tern")
    page = site.get(f"{reed}/light")
    form = {**fields_of(page), **typed(), "uuid": str(uuid4()), "remark": "with the new lamp"}
    site.desk.withdraw("Tern", shot.uuid, reason="wrong reed")
    answer = site.client.post(f"{reed}/light", data=form)
    assert answer.status_code == 404
    assert "no such photograph" in answer.text
    assert "with the new lamp" in answer.text
    assert f'value="{typed()["tip_left_x"]}"' in answer.text


def test_a_length_measured_later_is_said(site: Site):
    reed = site.add_reed("Ruff")
    site.desk.write("Ruff", Described(style="long"))
    send_photo(site, reed, picture())
    send_marks(site, reed)
    assert "The length of the reed on that day is not known" in site.get(f"{reed}/light").text
    site.desk.write("Ruff", Lengths(overall=69.2e-3, thread_top=47e-3))
    assert "The length of the reed on that day is not known" in site.get(f"{reed}/light").text

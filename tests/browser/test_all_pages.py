"""Every page there is: light and dark, telephone and desk, at 200 %, by keyboard and by thumb.

The addresses that answer are asked of the application itself: a page that is added without being
listed here makes a test fail.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from uuid import uuid4

import numpy as np
import pytest
from playwright.sync_api import Page, expect
from tests.browser.test_sounds import crow, wav
from tests.lit_pictures import file_of, light, light_marks, thinner_left
from tests.next_plans import AdviceJobs
from tests.pictures import png
from tests.soundness import faults

import crowlight.web.app
from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Cut, Lengths, Note, Opening, ReadingsTaken, Wetting
from crowlight.bench.ports import Sitting, SittingReed
from crowlight.bench.sittings import Step
from crowlight.bench.workshop_kinds import Intake
from crowlight.invented.recordings import scale_take
from crowlight.web.fields import FORMS

from .conftest import Served, serving

pytestmark = pytest.mark.browser

TRIP = "home_name=Saltmarsh&home_altitude=5&to_name=Highfold&to_altitude=2100&made=blank&ask=1"

#: Every address that answers, and what to look at there. What is no page says what it is instead.
COVERED: dict[str, tuple[str, ...] | str] = {
    "/": ("/", "/?q=nothing-like-this"),
    "/batches": ("/batches",),
    "/batches/new": ("/batches/new",),
    "/batches/{batch}": ("{batch}",),
    "/batches/{batch}/batch.json": "data",
    "/batches/{batch}/chart/{code}.svg": "picture",
    "/batches/{batch}/reeds": ("{batch}/reeds",),
    "/bench": tuple(
        f"/bench?step={step}"
        for step in ("", *Step)
    ),
    "/bench/reeds/{reed}/{rest:path}": "leads to the reed's own page",
    "/figures": ("/figures",),
    "/figures.json": "data",
    "/import": ("/import",),
    "/posted": ("/posted",),
    "/posted.ics": "file",
    "/posted/labels.pdf": "file",
    "/posted/new": ("/posted/new",),
    "/reeds/new": ("/reeds/new",),
    "/reeds/{reed}": ("{reed}", "{reed}?at=2", "{bare}"),
    "/reeds/{reed}/arrival": ("{reed}/arrival",),
    "/reeds/{reed}/assessment.json": "data",
    "/reeds/{reed}/back": ("{reed}/back", "{reed}/back?before={one}&after={other}",
                           "{reed}/back?before={one}&after={other}&blind=1",
                           "{reed}/back?before=1&after=999"),
    "/reeds/{reed}/back/{seq}/{blade}.svg": "picture",
    "/reeds/{reed}/blades": ("{reed}/blades?zone=heart&depth=2&ask=quick", "{bare}/blades"),
    "/reeds/{reed}/blades/warm.json": "data",
    "/reeds/{reed}/blades/what-if.json": "data",
    "/reeds/{reed}/blades/{picture}.svg": "picture",
    "/reeds/{reed}/calibration": ("{bare}/calibration",),
    "/reeds/{reed}/calibration/force-test.svg": "picture",
    "/reeds/{reed}/closing": ("{reed}/closing",),
    "/reeds/{reed}/entries/{entry}/correct": ("{reed}/entries/{note}/correct",),
    "/reeds/{reed}/entries/{entry}/withdraw": ("{reed}/entries/{note}/withdraw",),
    "/reeds/{reed}/journey": (f"{{reed}}/journey?{TRIP}",),
    "/reeds/{reed}/journey/altitude.svg": "picture",
    "/reeds/{reed}/journey/crow.svg": "picture",
    "/reeds/{reed}/journey/crow.wav": "sound",
    "/reeds/{reed}/letter": ("{reed}/letter",),
    "/reeds/{reed}/letter.html": "file",
    "/reeds/{reed}/letter.pdf": "file",
    "/reeds/{reed}/light": ("{reed}/light", "{reed}/light?photo={shot}", "{bare}/light"),
    "/reeds/{reed}/light/{entry}": "picture",
    "/reeds/{reed}/measure": ("{reed}/measure?round=quick", "{reed}/measure?round=full&tip=left",
                              "{bare}/measure?round=quick"),
    "/reeds/{reed}/measure/live": "piece of a page",
    "/reeds/{reed}/next": ("{reed}/next", "{reed}/next?guess=yes"),
    "/reeds/{reed}/next/after": ("{reed}/next/after?follows={cut}",),
    "/reeds/{reed}/next/guess/{sent}": "leads on",
    "/reeds/{reed}/next/other": ("{reed}/next/other",),
    "/reeds/{reed}/photos/{entry}": "picture",
    "/reeds/{reed}/play": ("{reed}/play",),
    "/reeds/{reed}/prints": ("{reed}/prints",),
    "/reeds/{reed}/prints.pdf": "file",
    "/reeds/{reed}/readings": ("{reed}/readings", "{reed}/readings?corrects={readings}"),
    "/reeds/{reed}/record": ("{reed}/record",),
    "/reeds/{reed}/report": "file; a test of its own looks at it",
    "/reeds/{reed}/sections/{state}/{blade}.svg": "picture",
    "/reeds/{reed}/sounds": ("{reed}/sounds",),
    "/reeds/{reed}/sounds/compare": ("{reed}/sounds/compare?before={crow}&after={later}",),
    "/reeds/{reed}/sounds/{entry}": ("{reed}/sounds/{crow}", "{reed}/sounds/{notes}"),
    "/reeds/{reed}/sounds/{entry}/heard.json": "data",
    "/reeds/{reed}/sounds/{entry}/intonation.svg": "picture",
    "/reeds/{reed}/sounds/{entry}/original": "file",
    "/reeds/{reed}/sounds/{entry}/sound.flac": "sound",
    "/reeds/{reed}/sounds/{entry}/sound.wav": "sound",
    "/reeds/{reed}/sounds/{entry}/spectrogram.svg": "picture",
    "/reeds/{reed}/takes/{take}": "data",
    "/reeds/{reed}/write/{kind}": tuple(f"{{reed}}/write/{kind}" for kind in FORMS),
    "/scores": ("/scores",),
    "/scores.json": "data",
    "/settings": ("/settings",),
    "/sw.js": "script",
    "/waiting": ("/waiting",),
}  # fmt: skip
#: Also what is answered where nothing is.
NOWHERE = ("/nowhere", "{reed}/nowhere")

#: Rules of axe that the colours of a page can break; the rest holds for light and dark alike.
COLOURS = ("color-contrast", "link-in-text-block")


def pages() -> list[str]:
    return [a for found in COVERED.values() if not isinstance(found, str) for a in found]


# --- a site with a bit of everything --------------------------------------------------------------


@dataclass
class Everything:
    """Pages being served, and what stands for the names in their addresses."""

    served: Served
    names: dict[str, str] = field(default_factory=dict[str, str])

    def address(self, path: str) -> str:
        return self.served.address + path.format(**self.names)


def filled(desk: Desk, served: Served) -> dict[str, str]:
    """Write a reed with a bit of everything; return the names of its addresses."""
    name = "Gull 7"
    maker, player = desk.people.add_maker("Ann"), desk.people.add_player("Bo")
    batch = desk.people.add_batch("March", maker=maker.uuid)
    desk.people.assign(name, maker=maker.uuid, player=player.uuid, batch=batch.uuid)
    readings = desk.sheet(name).state.readings
    scale = scale_take((62, 64, 66), (0.0, 9.0, -4.0), np.random.default_rng(4), seconds=0.3)

    def kept(data: bytes, of: str) -> str:
        done = desk.keep_recording(name, data, name="x.wav", sound_of=of)  # pyright: ignore[reportArgumentType]
        return str(done.entries[0].uuid)

    crows = [kept(crow(3), "crow")]
    before = desk.records.reed(name).seq
    cut = desk.write(name, Cut(zone="tip", blades=("marked",))).entries[0]  # pyright: ignore[reportArgumentType]
    desk.write(name, Wetting(how="soaked"))
    again = desk.write(name, ReadingsTaken(), readings=tuple(t.reading for t in readings)).entries[
        0
    ]
    crows.append(kept(crow(11), "crow"))
    notes = kept(wav(scale), "notes")
    note = desk.write(name, Note(text="soft " * 60)).entries[0]
    desk.write(name, Opening(height=0.6e-3))
    desk.write(name, Lengths(overall=70.2e-3, thread_top=47e-3))
    desk.write(name, Intake(complaint="It buzzes.", altitude=1850.0))
    lit = desk.light.keep(name, file_of(light(thickness=thinner_left(0.04e-3)))).uuid
    shot = desk.posted.keep_photo(name, png(40, 30), shows="whole").entries[0]
    desk.light.mark(name, light_marks(lit))
    kept_reed = desk.records.reed(name)
    bare = desk.records.reed("<b>Tern</b>")
    here = (SittingReed(reed=kept_reed.uuid, joined=before), SittingReed(reed=bare.uuid))
    desk.records.begin_sitting(
        Sitting(uuid=uuid4(), started_at=desk.clock.now(), shown=kept_reed.uuid, reeds=here)
    )
    return {
        "reed": served.reed,
        "bare": f"/reeds/{bare.uuid}",
        "batch": f"/batches/{batch.uuid}",
        "one": str(before),
        "other": str(kept_reed.seq),
        "note": str(note.uuid),
        "cut": str(cut.uuid),
        "shot": str(shot.uuid),
        "readings": str(again.uuid),
        "crow": crows[0],
        "later": crows[1],
        "notes": notes,
    }


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Everything]:
    folder = tmp_path_factory.mktemp("everything")
    with serving(folder, filled=True, jobs=AdviceJobs()) as served:
        yield Everything(served, filled(served.desk, served))


def open_page(page: Page, site: Everything, path: str) -> None:
    """Open a page with all that is folded away and all that is put off."""
    page.goto(site.address(path))
    expect(page.locator("progress")).to_have_count(0, timeout=60_000)
    page.evaluate(
        """() => { document.querySelectorAll('details').forEach((d) => { d.open = true; });
                   document.querySelectorAll('img').forEach((i) => { i.loading = 'eager'; }); }"""
    )


# --- what must hold -------------------------------------------------------------------------------


def answered() -> Iterator[str]:
    """Yield every address that answers, of every module with routes."""
    for module in vars(crowlight.web.app).values():
        router = getattr(module, "router", None)
        for route in getattr(router, "routes", ()):
            if "GET" in (getattr(route, "methods", None) or ()):
                yield route.path


def test_every_address_that_answers_is_looked_at_here():
    assert set(answered()) == set(COVERED)


#: A browser's own player may move as it likes.
MOVING = """() => [...document.querySelectorAll('*:not(audio, source)')].filter((e) => {
    const s = getComputedStyle(e);
    return s.animationName !== 'none' || s.transitionDuration !== '0s'; }).length"""

SIDEWAYS = """() => document.documentElement.scrollWidth > document.documentElement.clientWidth
    ? [...document.querySelectorAll('main *')]
        .filter((e) => e.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
        .slice(0, 3).map((e) => e.outerHTML.slice(0, 100)) : null"""

#: Targets below 24 CSS pixels (WCAG 2.2, 2.5.8; links within a sentence are let off there too),
#: primary ones below 44 (2.5.5), and those without a name.
TARGETS = """() => {
  const wanted = 'a[href], button, input:not([type=hidden]), select, textarea, summary, '
    + '[role=button]';
  const seen = [...document.querySelectorAll(wanted)].filter((e) =>
    e.checkVisibility({ visibilityProperty: true }) && !e.classList.contains('skip'));
  const inSentence = (e) => e.tagName === 'A' && getComputedStyle(e).display === 'inline'
    && [...e.parentElement.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
  const name = (e) => e.getAttribute('aria-label') ?? e.labels?.[0]?.innerText
    ?? (e.textContent.trim() || e.title || e.value || e.querySelector('img')?.alt);
  const primary = (e) => e.matches('button, .button, .primary, select, textarea, summary')
    || (e.tagName === 'INPUT' && e.type !== 'range');
  return seen.map((e) => {
    const met = e.closest('label.option') ?? e.querySelector?.('.hit') ?? e;
    const box = met.getBoundingClientRect();
    const least = inSentence(e) ? 0 : primary(e) ? 44 : 24;
    const small = box.height < least - 0.5 || box.width < Math.min(least, 24) - 0.5;
    return small || !name(e)?.trim()
      ? `${e.outerHTML.slice(0, 110)} ${Math.round(box.width)}x${Math.round(box.height)}` : null;
  }).filter(Boolean);
}"""


@pytest.mark.parametrize("path", [*pages(), *NOWHERE])
def test_a_page_is_sound_for_eye_hand_and_ear(window, site, path):
    # without motion, which the pages must respect: else a colour is met on its way to another
    page = window(1440, "light", reduced_motion="reduce")
    open_page(page, site, path)
    assert page.evaluate(MOVING) == 0
    for width in (1440, 360):
        page.set_viewport_size({"width": width, "height": 900})
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert faults(page, COLOURS if scheme == "dark" else None) == [], f"{width} {scheme}"
        page.emulate_media(color_scheme="light")
        assert page.evaluate(SIDEWAYS) is None, width
        assert page.evaluate(TARGETS) == [], width
    # 200 % on a window of 1280 leaves 640 CSS pixels
    page.set_viewport_size({"width": 640, "height": 450})
    assert page.evaluate(SIDEWAYS) is None
    # the order of the tab key is that of the page
    assert page.locator("[tabindex]:not([tabindex='0']):not([tabindex='-1'])").count() == 0


@pytest.mark.parametrize("contrast", ["usual", "high"])
def test_settings_of_the_eye_keep_every_kind_of_page_sound(window, site, contrast):
    """Chosen dark on a light device, large text, high contrast, on a telephone."""
    page = window(360, "light")
    page.goto(f"{site.served.address}/settings")
    for group, choice in (("Light or dark", "dark"), ("Contrast", contrast), ("Text", "large")):
        page.get_by_role("group", name=group).get_by_role("radio", name=choice, exact=True).check()
    page.get_by_role("button", name="Keep these").click()
    for path in ("/", "{reed}", "/bench", "{reed}/measure?round=quick", "{reed}/next", "/settings",
                 "{reed}/write/cut", "{reed}/back", "{reed}/sounds/{crow}"):  # fmt: skip
        open_page(page, site, path)
        assert faults(page) == [], path
        assert page.evaluate(SIDEWAYS) is None, path
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert paper in {"rgb(0, 0, 0)", "rgb(21, 25, 26)"}


def test_stops_of_the_tab_key_at_the_bench_are_in_reading_order(window, site):
    page = window()
    page.goto(site.address("/bench?step=seal"))
    names: list[str] = []
    for _ in range(40):
        page.keyboard.press("Tab")
        name = page.evaluate(
            """() => { const e = document.activeElement; if (e === document.body) return 'END';
                 return (e.getAttribute('aria-label') ?? e.labels?.[0]?.innerText
                   ?? e.innerText).trim(); }"""
        )
        if name == "END":
            break
        names.append(name.split("\n")[0])
    assert names[0] == "To the content"
    wanted = ["Gull 7", "Go there", "It holds", "It leaks", "Look over", "Seal", "Rest"]
    at = [names.index(next(n for n in names if w in n)) for w in wanted]
    assert at == sorted(at), names

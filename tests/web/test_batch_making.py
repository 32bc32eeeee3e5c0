"""Making and changing batches in the browser."""

from __future__ import annotations

import re
from uuid import UUID, uuid4

import pytest

from crowlight.bench.kinds import Note
from crowlight.bench.people import People

from .conftest import Site, fields_of

HOSTILE = '"><script>alert(1)</script>'


def _add(site: Site, *names: str) -> list[str]:
    return [site.add_reed(n).rsplit("/", 1)[1] for n in names]


def _form(site: Site, path: str, action: str) -> dict[str, str]:
    """Return token and uuid of the form with this action."""
    found = re.search(
        rf'<form method="post" action="{action}".*?</form>', site.get(path).text, re.S
    )
    assert found, action
    hidden = r'<input type="hidden" name="(token|uuid)" value="([^"]*)"'
    return dict(re.findall(hidden, found.group()))


def _send(site: Site, batch: str, act: str, **fields: object):
    path = f"/batches/{batch}"
    return site.client.post(
        f"{path}/{act}", data=_form(site, f"{path}/reeds", f"{path}/{act}") | fields
    )


def _batch(site: Site, name: str = "May", reeds: list[str] | None = None) -> str:
    answer = site.send("/batches/new", {"name": name, "reed": reeds or []})
    assert answer.status_code == 303, answer.text[:2000]
    return answer.headers["location"].split("/")[2]


def _of(site: Site, batch: str) -> list[str]:
    return [r.name for r in site.desk.batches.reeds_of(site.desk.people.batch(batch))]


def _told(site: Site, reed: str) -> list[str]:
    return [e.payload.text for e in site.desk.sheet(reed).entries if isinstance(e.payload, Note)]


def test_a_batch_is_made_of_the_reeds_that_are_ticked(site: Site):
    assert 'href="/batches/new"' in site.get("/batches").text
    tern, _, knot = _add(site, "Tern", "Gull", "Knot")
    ann = site.desk.people.add_maker("Ann")
    page = site.get("/batches/new")
    assert page.text.count('type="checkbox" name="reed"') == 3
    sent = {"name": " May ", "maker": str(ann.uuid), "reed": [tern, knot]}
    answer = site.send("/batches/new", sent, page=page)
    assert answer.status_code == 303
    where = answer.headers["location"]
    assert "Batch kept." in site.get(where).text
    (batch,) = site.desk.people.batches()
    assert (batch.name, batch.maker) == ("May", ann.uuid)
    assert _of(site, str(batch.uuid)) == ["Knot", "Tern"]
    assert _told(site, "Tern") == ["Put into the batch “May”."]
    assert _told(site, "Gull") == []
    # the same form again: nothing is made or written twice
    assert site.send("/batches/new", sent, page=page).status_code == 303
    assert len(site.desk.people.batches()) == 1
    assert len(_told(site, "Tern")) == 1


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"name": "  "}, "Name is empty; fill it in"),
        ({"name": "may"}, "There is a batch of this name already"),
        ({"name": "x" * 201}, "more than 200"),
        ({"reed": [str(uuid4())]}, "A reed that was ticked is not kept"),
        ({"reed": ["nothing"]}, "A reed that was ticked is not kept"),
        ({"maker": str(uuid4())}, "is not one of the choices"),
        ({"token": "old"}, "Crowlight was started anew"),
    ],
)
def test_a_refused_form_keeps_what_was_typed(site: Site, changes: dict[str, object], said: str):
    (tern,) = _add(site, "Tern")
    site.desk.people.add_maker("Ann")
    _batch(site, "May")
    answer = site.send("/batches/new", {"name": HOSTILE, "reed": [tern]} | changes)
    assert answer.status_code in {403, 422}
    assert said in answer.text
    assert fields_of(answer)["name"] == [changes.get("name", HOSTILE)]
    if "reed" not in changes:
        assert fields_of(answer)["reed"] == [tern]
    assert "<script>alert" not in answer.text
    assert [b.name for b in site.desk.people.batches()] == ["May"]


def test_looking_for_more_reeds_keeps_name_and_ticks(site: Site):
    many = dict(zip(_add(site, *(f"Dunlin {n}" for n in range(30))), range(30), strict=True))
    page = site.get("/batches/new")
    assert "There are more" in page.text
    offered = re.findall(r'name="reed" value="([^"]+)"', page.text)
    ticked, other = offered[-1], next(r for r in many if r not in offered)
    looked = {"name": "June", "reed": [ticked], "q": f"Dunlin {many[other]}", "act": "find"}
    found = site.send("/batches/new", looked, page=page)
    assert found.status_code == 200
    kept = fields_of(found)
    assert (kept["name"], kept["reed"], kept["q"]) == (["June"], [ticked], [looked["q"]])
    assert f'value="{other}"' in found.text
    assert site.desk.people.batches() == ()
    made = {"reed": [ticked, other], "act": None}
    assert site.send("/batches/new", made, page=found).status_code == 303
    (batch,) = site.desk.people.batches()
    assert set(_of(site, str(batch.uuid))) == {f"Dunlin {many[r]}" for r in (ticked, other)}


def test_a_batch_is_renamed_and_its_reeds_follow(site: Site):
    tern, gull = _add(site, "Tern", "Gull")
    batch = _batch(site, "May", [tern])
    _batch(site, "June", [gull])
    assert _send(site, batch, "name", name="Early May").status_code == 303
    assert site.desk.people.batch(batch).name == "Early May"
    assert _of(site, batch) == ["Tern"]
    refused = _send(site, batch, "name", name="JUNE")
    assert refused.status_code == 422
    assert re.search(r'name="name"[^>]* value="JUNE"', refused.text)
    assert site.desk.people.batch(batch).name == "Early May"
    # its own name in other letters is no other name
    assert _send(site, batch, "name", name="early may").status_code == 303


def test_the_maker_of_a_batch_stays_when_it_is_renamed(site: Site):
    ann = site.desk.people.add_maker("Ann")
    made = site.desk.people.add_batch("May", maker=ann.uuid)
    page = site.get(f"/batches/{made.uuid}/reeds")
    assert f'<option value="{ann.uuid}" selected>' in page.text
    _send(site, str(made.uuid), "name", name="Spring", maker=str(ann.uuid))
    assert site.desk.people.batch(made.uuid).maker == ann.uuid


def test_reeds_are_put_in_and_taken_out_and_their_logs_say_so(site: Site):
    tern, gull, knot = _add(site, "Tern", "Gull", "Knot")
    may, june = _batch(site, "May", [tern, gull]), _batch(site, "June")
    page = site.get(f"/batches/{june}/reeds").text
    assert page.count("now of <bdi>May</bdi>") == 2
    assert "of no batch" in page
    assert _send(site, june, "put", reed=[tern, knot]).status_code == 303
    assert (_of(site, june), _of(site, may)) == (["Knot", "Tern"], ["Gull"])
    assert _told(site, "Tern")[1:] == ["Put into the batch “June”; it was of “May”."]
    assert _send(site, june, "take", out=[knot]).status_code == 303
    assert _of(site, june) == ["Tern"]
    assert _told(site, "Knot") == [
        "Put into the batch “June”.",
        "Taken out of the batch “June”.",
    ]
    # who moved it elsewhere meanwhile is not overruled
    assert _send(site, may, "take", out=[tern]).status_code == 303
    assert _of(site, june) == ["Tern"]
    assert len(_told(site, "Tern")) == 2


@pytest.mark.parametrize("act", ["put", "take"])
def test_nothing_ticked_is_said(site: Site, act: str):
    (tern,) = _add(site, "Tern")
    batch = _batch(site, "May", [tern])
    _add(site, "Gull")
    answer = _send(site, batch, act)
    assert answer.status_code == 422
    assert "No reed is ticked" in answer.text


def test_a_reed_that_is_moved_half_way_is_moved_by_sending_again(site: Site, monkeypatch):
    (tern,) = _add(site, "Tern")
    batch = site.desk.people.batch(_batch(site, "May"))
    assign, sent = People.assign, uuid4()

    def broken(self: People, *_: object, **__: object) -> None:
        raise OSError("broke off")

    def move() -> int:
        return site.desk.batches.move([UUID(tern)], batch, said=lambda r: r.name, sent=sent)

    monkeypatch.setattr(People, "assign", broken)
    with pytest.raises(OSError, match="broke off"):
        move()
    monkeypatch.setattr(People, "assign", assign)
    assert (move(), move()) == (1, 0)
    assert _told(site, "Tern") == ["Tern"]
    assert _of(site, str(batch.uuid)) == ["Tern"]


def test_an_empty_batch_says_so_and_leads_to_its_reeds(site: Site):
    batch = _batch(site, "May")
    page = site.get(f"/batches/{batch}").text
    assert "No reed is of this batch yet." in page
    assert f'href="/batches/{batch}/reeds"' in page
    site.get(f"/batches/{uuid4()}/reeds", 404)

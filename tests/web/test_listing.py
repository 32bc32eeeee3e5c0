"""The list of reeds."""

from __future__ import annotations

from uuid import uuid4

import pytest

from crowlight.bench.kinds import Described, Note
from crowlight.bench.ports import Batch, NewReed


def test_an_empty_list_says_how_to_begin(site):
    page = site.get("/").text
    assert "No reeds yet" in page
    assert 'href="/reeds/new"' in page
    assert 'href="/import"' in page
    assert 'role="search"' not in page


def test_a_reed_is_added_and_shown(site):
    answer = site.send("/reeds/new", {"name": "  Tern 3 "})
    assert answer.status_code == 303
    page = site.get(answer.headers["location"])
    assert "Reed added." in page.text
    assert ">Tern 3<" in page.text
    assert "Nothing measured yet" in page.text
    assert ">Tern 3<" in site.get("/").text


@pytest.mark.parametrize(
    ("name", "said"), [("", "1 to 100"), ("x" * 101, "101 characters"), ("a\x07b", "U+0007")]
)
def test_a_bad_name_is_refused_and_kept_in_the_form(site, name, said):
    answer = site.send("/reeds/new", {"name": name})
    assert answer.status_code == 422
    assert said in answer.text
    assert f'value="{name}"' in answer.text
    assert 'role="alert"' in answer.text


def test_a_name_that_is_taken_is_said_so(site):
    site.add_reed("Tern")
    answer = site.send("/reeds/new", {"name": "Tern"})
    assert answer.status_code == 409
    assert 'value="Tern"' in answer.text
    assert 'aria-invalid="true"' in answer.text


def test_adding_twice_by_a_double_press_adds_once(site):
    page = site.get("/reeds/new")
    first = site.send("/reeds/new", {"name": "Tern"}, page=page)
    second = site.send("/reeds/new", {"name": "Tern"}, page=page)
    assert first.headers["location"] == second.headers["location"]


def test_search_batch_and_sort(site):
    batch = Batch(uuid=uuid4(), name="Spring")
    site.desk.records.add_batch(batch)
    for name, own in (("Alpha", batch.uuid), ("Beta", None), ("Gamma", batch.uuid)):
        site.desk.records.add_reed(NewReed(uuid=uuid4(), name=name, batch=own))
    site.desk.write("Beta", Described(thread_colour="emerald green", cork_number="12"))
    site.desk.write("Alpha", Note(text="later"))

    def order(query: str) -> list[str]:
        text = site.get(f"/?{query}").text
        return [
            n
            for _, n in sorted((text.find(f">{n}<"), n) for n in ("Alpha", "Beta", "Gamma"))
            if f">{n}<" in text
        ]

    assert order("q=emerald") == ["Beta"]
    assert order("batch=Spring&sort=name&order=up") == ["Alpha", "Gamma"]
    assert order("sort=name&order=down") == ["Gamma", "Beta", "Alpha"]
    assert order("")[0] == "Alpha"
    assert "No reed fits" in site.get("/?q=nothing").text
    # whatever stands in the address, there is a list
    assert order("sort=rubbish&order=%00&page=-3&batch=") == order("")
    assert "No reed fits" in site.get("/?page=999999").text


def test_a_long_list_comes_in_pages(site):
    for n in range(51):
        site.add_reed(f"Reed {n:02}")
    first = site.get("/?sort=name&order=up")
    assert first.text.count("<article") == 50
    assert "Page 1 of 2" in first.text
    assert "page=2" in first.text
    second = site.get("/?sort=name&order=up&page=2").text
    assert second.count("<article") == 1
    assert "Reed 50" in second


def test_thread_colour_and_number_are_shown(site):
    path = site.add_reed()
    site.desk.write("Gull 7", Described(thread_colour="dark red", cork_number="7"))
    for page in ("/", path):
        text = site.get(page).text
        assert "dark red" in text
        assert 'fill="#c2272d"' in text

"""The letter to a player, as HTML and as PDF, from the same content."""

from __future__ import annotations

import base64
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any
from uuid import UUID

from jinja2 import Environment

from crowlight import __version__
from crowlight.bench.pictures import Picture
from crowlight.bench.ports import Entry
from crowlight.bench.story import Story
from crowlight.bench.workshop_kinds import LETTER_PARTS, Letter, Photo
from crowlight.report.environment import environment, style
from crowlight.report.letter_pictures import Drawn, change_picture, letter_pictures
from crowlight.report.letter_text import PARTS, Draft, draft, glossary
from crowlight.report.paper import Paper, Printed, typeset
from crowlight.report.photographs import smaller
from crowlight.report.posted_words import SHOWS
from crowlight.report.words import Words, in_locale, mark

__all__ = ["Block", "Content", "Question", "blocks", "letter_content", "letter_html", "letter_pdf"]

_ENDINGS = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}


@dataclass(frozen=True, slots=True)
class Block:
    """A paragraph with its lines, or a list with its items."""

    lines: tuple[str, ...] = ()
    items: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Question:
    """A question of the form to send back: choices to tick, or lines to write on."""

    asks: str
    choices: tuple[str, ...] = ()
    lines: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """One part of a letter."""

    name: str
    heading: str
    blocks: tuple[Block, ...]
    pictures: tuple[Drawn, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Photo:
    """A photograph without the place it was taken at."""

    picture: Picture
    caption: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Content:
    """Everything a letter shows, in the order in which it is read.

    Parameters
    ----------
    title : str
        What it is about.
    author : str
        Who writes.
    invented : str
        That it is made up, if it is.
    parts : tuple
        The words.
    glossary : tuple of (str, str)
        Trade words in it and what they mean.
    photos, pictures : tuple
        Photographs and drawings.
    form : tuple of Question
        What the player may send back.
    """

    title: str
    author: str
    invented: str
    parts: tuple[_Part, ...]
    glossary: tuple[tuple[str, str], ...]
    photos: tuple[_Photo, ...]
    pictures: tuple[Drawn, ...]
    form: tuple[Question, ...]


def blocks(text: str) -> tuple[Block, ...]:
    r"""Return the paragraphs and lists of a text.

    Parameters
    ----------
    text : str
        Paragraphs apart by an empty line; lines that begin with ``- `` are items of a list.

    Examples
    --------
    >>> [(b.lines, b.items) for b in blocks("One.\nTwo.\n\n- a\n- b")]
    [(('One.', 'Two.'), ()), ((), ('a', 'b'))]
    """
    found: list[Block] = []
    for paragraph in text.split("\n\n"):
        lines = [line.strip() for line in paragraph.splitlines() if line.strip()]
        plain: list[str] = []
        items: list[str] = []
        for line in lines:
            if line.startswith("- "):
                if plain:
                    found.append(Block(lines=tuple(plain)))
                    plain = []
                items.append(line[2:].strip())
            else:
                if items:
                    found.append(Block(items=tuple(items)))
                    items = []
                plain.append(line)
        if plain or items:
            found.append(Block(lines=tuple(plain), items=tuple(items)))
    return tuple(found)


def letter_content(
    story: Story,
    *,
    words: Words,
    kept: Letter | None = None,
    student: bool = False,
    photo: Callable[[UUID], Picture] | None = None,
) -> Content:
    """Return what a letter shows.

    Parameters
    ----------
    story : Story
        The reed.
    words : Words
        The language; lengths are in millimetres, whatever its user has chosen.
    kept : Letter, optional
        The letter as it was edited; else it is drafted.
    student : bool
        Whether it goes to a student, if it was not edited.
    photo : callable, optional
        Returns a photograph by its entry; without it none is shown.
    """
    words = in_locale(str(words.locale))
    student = kept.student if kept else student
    drafted = draft(story, words=words, student=student)
    edited = {str(name): text for name, text in kept.parts.items()} if kept else None
    texts = edited or drafted.parts
    shown = [name for name in LETTER_PARTS if texts.get(name, "").strip()]
    parts = tuple(
        _Part(
            name=name,
            heading=words(PARTS[name]),
            blocks=blocks(texts[name]),
            pictures=_drawing(story, drafted, words) if name == "try" else (),
        )
        for name in shown
    )
    return Content(
        title=words.say(mark("About your reed “%(name)s”"), name=story.now.reed.name),
        author=story.maker.name if story.maker else "",
        invented=words(mark("Invented: the people, the places and every number."))
        if story.now.reed.invented
        else "",
        parts=parts,
        glossary=tuple(glossary(" ".join(texts[name] for name in shown), words)),
        photos=tuple(
            _Photo(picture=smaller(photo(e.uuid)), caption=_shows(e, when, words))
            for when, entries in (
                (mark("%(what)s, as it came"), story.photos_before),
                (mark("%(what)s, now"), story.photos_after),
            )
            for e in entries
        )
        if photo
        else (),
        pictures=tuple(letter_pictures(story, words=words)),
        form=() if student else _form(story, words),
    )


def _drawing(story: Story, drafted: Draft, words: Words) -> tuple[Drawn, ...]:
    if drafted.change is None or story.style is None:
        return ()
    return (change_picture(drafted.change, story.style, words=words),)


def _shows(entry: Entry, when: str, words: Words) -> str:
    photo = entry.payload
    if not isinstance(photo, Photo):
        return ""
    said = words.say(when, what=words(SHOWS[photo.shows]))
    said = said[:1].upper() + said[1:]
    return f"{said}. {photo.remark}" if photo.remark else said


def _form(story: Story, words: Words) -> tuple[Question, ...]:
    unsure = words(mark("not sure"))
    yes = (words(mark("yes")), words(mark("no")), unsure)
    name = words.say(mark("Reed: %(name)s. Date, and how many hours it was played:"),
                     name=story.now.reed.name)  # fmt: skip
    asked: list[Question] = [
        Question(name),
        Question(words(mark("Do low notes start softly at once?")), yes),
        Question(
            words(mark("Its pitch where you play:")),
            (words(mark("too low")), words(mark("right")), words(mark("too high")), unsure),
        ),
        Question(
            words(mark("It blows:")),
            (words(mark("too hard")), words(mark("right")), words(mark("too soft")), unsure),
        ),
        Question(words(mark("The opening, if you can measure it, in mm:"))),
    ]
    if story.uses_knife:
        asked.append(Question(words(mark("Did you try the one thing?")), yes))
    asked += [
        Question(words(mark("Do you still play it?")), yes),
        Question(words(mark("Its grade, from 1 (poor) to 5:")), ("1", "2", "3", "4", "5")),
        Question(words(mark("In your own words:")), lines=3),
    ]
    if story.posting:
        codes = story.posting.questions
        if "may-cut" in codes or "may-break" in codes:
            asked.append(Question(words(mark("May it be cut? May it be put at risk?")), yes))
        if "allergies" in codes:
            asked.append(Question(words(mark("What you do not bear (varnish, wax, glue, latex):"))))
        if "altitude" in codes:
            asked.append(Question(words(mark("Altitude where you play, and how dry the hall is:"))))
    return tuple(asked)


# --- as HTML and as PDF ---------------------------------------------------------------------------


@cache
def _environment(words: Words) -> Environment:
    return environment(words)


def _address(media_type: str, data: bytes) -> str:
    return f"data:{media_type};base64,{base64.b64encode(data).decode()}"


def letter_html(content: Content, *, words: Words) -> str:
    """Return a letter as an HTML document that needs nothing else."""
    return (
        _environment(in_locale(str(words.locale)))
        .get_template("letter.html")
        .render(
            content=content,
            words=words,
            version=__version__,
            css=style("tokens", "report", "letter"),
            address=_address,
        )
    )


def letter_pdf(content: Content, *, words: Words, paper: Paper = "a4") -> Printed:
    """Return a letter as a PDF."""
    pictures = {
        f"photo{n}.{_ENDINGS[p.picture.media_type]}": p.picture.shown
        for n, p in enumerate(content.photos)
    }
    return typeset("letter", _data(content, list(pictures), words), paper=paper, pictures=pictures)


def _data(content: Content, names: list[str], words: Words) -> Mapping[str, Any]:
    def drawn(p: Drawn) -> dict[str, Any]:
        return {"svg": p.svg, "told": p.told, "caption": p.caption, "width": p.width * 1e3}

    return {
        "title": content.title,
        "author": content.author,
        "invented": content.invented,
        "lang": words.locale.language,
        "parts": [
            {
                "heading": p.heading,
                "blocks": [{"lines": b.lines, "items": b.items} for b in p.blocks],
                "pictures": [drawn(picture) for picture in p.pictures],
            }
            for p in content.parts
        ],
        "glossary": content.glossary,
        "photos": [
            {"file": name, "told": p.caption, "caption": p.caption}
            for name, p in zip(names, content.photos, strict=True)
        ],
        "pictures": [drawn(p) for p in content.pictures],
        "form": [{"asks": q.asks, "choices": q.choices, "lines": q.lines} for q in content.form],
        "words": {
            "glossary": words(mark("Words used here")),
            "pictures": words(mark("Pictures")),
            "form": words(mark("To send back")),
            "send": words(mark("Fill in what you can; leave out what you do not know.")),
        },
    }

"""Commands about people, their places, and whose a reed is."""

from __future__ import annotations

from contextlib import suppress
from typing import Annotated

import typer

__all__ = ["assign", "erase", "people", "places"]


def people(
    context: typer.Context,
    maker: Annotated[str, typer.Option(help="Add a maker of this name.")] = "",
    player: Annotated[str, typer.Option(help="Add a player of this name.")] = "",
    contact: Annotated[str, typer.Option(help="How to reach the player.")] = "",
    hand: Annotated[
        str, typer.Option(help="The maker's knife hand, left or right; also of one kept already.")
    ] = "",
) -> None:
    """List makers and players, or add one."""
    from crowlight.bench.ports import Maker
    from crowlight.errors import InputError, NotFound
    from crowlight.wiring import open_desk

    if contact and not player:
        msg = "--contact is kept of players; give it together with --player"
        raise InputError(msg)
    if hand and (not maker or hand not in ("left", "right")):
        msg = f"--hand {hand} is kept of makers, left or right; give it together with --maker"
        raise InputError(msg)
    with open_desk(context.obj) as desk:
        if maker:
            known = None
            if hand:
                with suppress(NotFound):
                    known = desk.people.maker(maker)
            name, uuid = (known.name, known.uuid) if known else (maker, None)
            side = "left" if hand == "left" else "right" if hand else ""
            desk.people.add_maker(name, hand=side, uuid=uuid)
        if player:
            desk.people.add_player(player, contact=contact)
        for person in desk.people.all():
            role = "maker" if isinstance(person, Maker) else "player"
            typer.echo(f"{person.name}\t{role}\t{person.uuid}")


def places(
    context: typer.Context,
    add: Annotated[str, typer.Option(help="Add a place of this name.")] = "",
    of: Annotated[str, typer.Option(help="Whose places.")] = "",
    altitude: Annotated[
        float | None, typer.Option(help="Of the place to add, above mean sea level, m.")
    ] = None,
    temperature: Annotated[float | None, typer.Option(help="Indoors, °C.")] = None,
    humidity: Annotated[float | None, typer.Option(help="Indoors, percent.")] = None,
) -> None:
    """List the places people make and play reeds in, or add one."""
    from crowlight.errors import InputError
    from crowlight.wiring import open_desk

    if add and not of:
        msg = f"whose place is {add!r}? Name a maker or player with --of"
        raise InputError(msg)
    if not add and (altitude, temperature, humidity) != (None, None, None):
        msg = "altitude and air are those of a place; name it with --add"
        raise InputError(msg)
    with open_desk(context.obj) as desk:
        if add:
            desk.people.add_place(
                of,
                add,
                altitude=altitude,
                temperature=None if temperature is None else temperature + 273.15,
                humidity=None if humidity is None else humidity / 100,
            )
        names = {person.uuid: person.name for person in desk.people.all()}
        for place in desk.people.places(of or None):
            shown = (
                place.name,
                names[place.person],
                "-" if place.altitude is None else f"{place.altitude:g} m",
                "-" if place.temperature is None else f"{place.temperature - 273.15:.1f} °C",
                "-" if place.humidity is None else f"{place.humidity * 100:.0f} %",
            )
            typer.echo("\t".join(shown))


def assign(
    context: typer.Context,
    reeds: Annotated[list[str], typer.Argument(metavar="REED...", help="The reeds.")],
    maker: Annotated[str | None, typer.Option(help="Who made them; '' for nobody.")] = None,
    player: Annotated[str | None, typer.Option(help="Who plays them; '' for nobody.")] = None,
    batch: Annotated[str | None, typer.Option(help="Their batch; '' for none.")] = None,
    new_batch: Annotated[str, typer.Option(help="A batch to be added for them.")] = "",
) -> None:
    """Say who made reeds, who plays them, and of which batch they are."""
    from dataclasses import replace

    from crowlight.bench.kinds import Note
    from crowlight.errors import Conflict, InputError, NotFound
    from crowlight.report.belonging import given_said
    from crowlight.report.words import in_locale
    from crowlight.wiring import open_desk

    if (maker, player, batch, new_batch) == (None, None, None, ""):
        msg = "nothing to assign; give --maker, --player, --batch or --new-batch"
        raise InputError(msg)
    if batch is not None and new_batch:
        msg = "give --batch or --new-batch, not both"
        raise InputError(msg)
    with open_desk(context.obj) as desk:
        theirs = [desk.records.reed(reed).uuid for reed in reeds]  # all of them, or none
        to = {
            "maker": desk.people.maker(maker).uuid if maker else maker,
            "player": desk.people.player(player).uuid if player else player,
            "batch": desk.people.batch(batch).uuid if batch else batch,
        }
        if new_batch:
            with suppress(NotFound):
                there = desk.people.batch(new_batch).name
                msg = f"a batch {there!r} is kept already; put reeds into it with --batch"
                raise Conflict(msg)
            to["batch"] = desk.people.add_batch(new_batch, maker=to["maker"] or None).uuid
        given = {name: key or None for name, key in to.items() if key is not None}
        names = {one.uuid: one.name for one in desk.people.batches()}
        for uuid in dict.fromkeys(theirs):
            was = desk.records.reed(uuid)
            # the note first: what breaks off in between is seen in the log and done again
            if said := given_said(was, replace(was, **given), names, in_locale("en")):
                desk.write(uuid, Note(text=said))
            typer.echo(f"reed {desk.people.assign(uuid, **given).name}: kept")


def erase(
    context: typer.Context,
    person: Annotated[str, typer.Argument(help="Name or uuid of a maker or player.")],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> None:
    """Erase name, contact and places of a person; reeds and their entries stay."""
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        found = desk.people.find(person)
        places = len(desk.people.places(found.uuid))
        if not yes:
            typer.confirm(
                f"Erase {found.name} with {places} places? This cannot be taken back", abort=True
            )
        desk.people.erase(found.uuid)
    typer.echo(
        "erased. Names in notes, and in backups and exports made before, are not touched: "
        "delete those yourself"
    )

"""Figures of the workshop: records and pages, batches, letters."""

from __future__ import annotations

from summary_page import Page, load, n, table


def store(page: Page) -> None:
    """Records and pages."""
    kept, pages = load("store"), load("pages")
    for name, data in kept.items():
        rows = [
            [
                what,
                n(row["milliseconds"]),
                n(row.get("goal")),
                n(row.get("ratio")),
                page.met(f"{name}: {what}", row["met"]) if "met" in row else "",
            ]
            for what, row in data.items()
            if isinstance(row, dict)
        ]
        head = ("what", "ms", "goal ms", "times sqlite3 alone", "met")
        title = f"Records, {name}: {data['reeds']:,} reeds with {data['entries each']} entries each"
        page.section(title, data, table(head, rows))
    if pages:
        rows = [
            [
                what,
                n(row["milliseconds"]),
                n(row.get("goal")),
                n(row.get("ratio")),
                page.met(f"page: {what}", row["met"]) if "met" in row else "",
            ]
            for what, row in pages["pages"].items()
        ]
        head = ("page", "ms", "goal ms", "times the use case alone", "met")
        page.section(f"Pages, {pages['reeds']:,} reeds", pages, table(head, rows))


def batches(page: Page) -> None:
    """Batches and the workshop's figures."""
    found = load("batches")
    if not found:
        return
    peers = {"batch page of 60 reeds": "use case alone", "figures": "entries read into models"}
    rows = [
        [
            what,
            n(row["milliseconds"]),
            n(row.get("goal")),
            n(row.get("ratio")),
            peers.get(what, ""),
            page.met(f"batches: {what}", row["met"]) if "met" in row else "",
        ]
        for what, row in found["batches"].items()
    ]
    head = ("what", "ms", "goal ms", "times its peer", "peer", "met")
    page.section(f"Batches; figures of {found['reeds']:,} reeds", found, table(head, rows))


def letter(page: Page) -> None:
    """The letter to a player, and the panel of cuts."""
    if data := load("letter"):
        text = (
            f"{1e3 * data['whole_letter_s']:.0f} ms from an opened story to the PDF (target 1 s; "
            f"met: {page.met('letter', data['met'])}), {data['times_an_empty_page']:.1f} times an "
            "empty page.\n"
        )
        page.section("Letter", data, text)
    if data := load("slider"):
        row = data["slider"]["slider to redrawn prediction"]
        text = (
            f"From a slider's move to the redrawn prediction: {row['p95_milliseconds']:.0f} ms at "
            f"95 % of {row['steps']} moves (target 60; met: {page.met('slider', row['met'])}), "
            f"{row['ratio_to_bare']:.2f} times a bare number redrawn in the same run.\n"
        )
        page.section("The panel of cuts", data, text)

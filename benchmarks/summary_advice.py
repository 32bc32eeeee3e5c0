"""Figures of the advice: findings, and its trials."""

from __future__ import annotations

from summary_page import Page, load, n, table


def findings(page: Page) -> None:
    """Findings and the next cut."""
    data = load("findings")
    if data:
        text = (
            f"Ranking {data['findings_at_places']} findings at places: "
            f"{data['rank_s'] * 1e3:.1f} ms, "
            f"{data['rank_over_judge_shape']:.1%} of judging the shape "
            f"({data['judge_shape_s'] * 1e3:.0f} ms); after one answer "
            f"{data['rank_after_one_answer_s'] * 1e3:.1f} ms. No target was set.\n"
        )
        page.section("Findings", data, text)
    data = load("cut")
    if data:
        rows = [
            [what, n(1e3 * seconds), n(data["times_the_peer"][what])]
            for what, seconds in data["seconds"].items()
        ]
        text = f"Peer: {data['peer']}, {data['peer_seconds']:.1f} s. No target was set.\n\n"
        text += table(("what", "ms", "times the peer"), rows)
        page.section("The next cut", data, text)


def trials(page: Page) -> None:
    """The advice against fixed rivals, on invented reeds."""
    data = load("trials")
    if not data:
        return
    by = data["policies"]

    def share(value: float | None) -> str:
        return "" if value is None else f"{value:.0%}"

    rows = [
        [
            name,
            f"{row['success']:.1%} ± {row['success_error']:.1%}",
            share(row["success_of_curable_outside"]),
            n(row["ruined"]),
            n(row["cane_removed"]),
            n(row["cuts"]),
            n(row["minutes"]),
            share(row["convergence"]["per_cut"]),
            share(row["worse"]),
        ]
        for name, row in by.items()
    ]
    head = (
        "policy",
        "inside the target at the end",
        "of curable reeds that began outside",
        "ruined",
        "cane, mm³",
        "cuts",
        "minutes of attention",
        "of the remaining distance, each cut removes",
        "left further off",
    )
    text = (
        f"{data['reeds']} of {data['asked']} invented test reeds, each finished by every policy; "
        f"code `{data['code']}`. Claims about this simulation, never about makers. See "
        "[the trials](../docs/theory/trials.md).\n\n"
    )
    if data["reeds"] < data["asked"]:
        text += (
            "**Not the whole run:** there was no time for the rest; `crowlight trials` goes on "
            "where it stopped.\n\n"
        )
    text += table(head, rows) + "\n"
    ours, ahead = by["planner"], data["ahead"]
    points = f"{100 * ahead['share']:.1f} ± {100 * ahead['error']:.1f}"
    most = min(row["ruined"] for name, row in by.items() if name not in ("planner", "nothing"))
    targets: list[tuple[str, str, str, bool | None]] = [
        ("ruined by the planner", n(ours["ruined"]), "1 in 500, and no more than any rival",
         ours["ruined"] <= min(most, data["reeds"] / 500)),
        ("success above the fixed order, points", points, "25", ahead["share"] >= 0.25),
        ("true finding ranked first", share(ours["top1"]), "70 %", ours["top1"] >= 0.70),
        ("true finding among the first three", share(ours["top3"]), "92 %", ours["top3"] >= 0.92),
        ("50 % intervals cover", f"{ours['coverage50']:.1%}", "", None),
        (f"80 % intervals cover, of {ours['predictions']:,}", f"{ours['coverage80']:.1%}",
         "77 to 83 %", 0.77 <= ours["coverage80"] <= 0.83),
    ]  # fmt: skip
    rows = [
        [what, value, asked, "" if met is None else page.met(f"trials: {what}", met)]
        for what, value, asked, met in targets
    ]
    text += table(("what", "value", "target", "met"), rows)
    rows = [
        [
            name,
            n(row["reeds"]),
            share(row["planner"]["success"]),
            share(row["nothing"]["success"]),
            n(row["planner"]["ruined"]),
            n(row["planner"]["cuts"]),
            share(row["planner"]["worse"]),
            share(row["planner"].get("coverage80")),
        ]
        for name, row in data["sensitivity"].items()
    ]
    head = ("planner, with something wrong", "reeds", "inside", "doing nothing", "ruined", "cuts",
            "left further off", "80 % intervals cover")  # fmt: skip
    page.section("Trials of the advice", data, text + ("\n" + table(head, rows) if rows else ""))

"""Writes `benchmarks/README.md` from the figures in `benchmarks/results`.

python benchmarks/summary.py
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
RESULTS = HERE / "results"

HEAD = """\
# Figures

Written by `benchmarks/summary.py` from `benchmarks/results/*.json`; do not edit by hand.

    make bench            # every bench_*.py
    OPENBLAS_NUM_THREADS=1 python benchmarks/bench_map.py       # one of them
    python benchmarks/summary.py                                # this page alone

Each file names its machine. Others used it as well (see the load); linear algebra had one thread.
**Trust the ratios to a named peer measured in the same run, not the milliseconds.** Recordings and
reeds are invented or synthetic; nothing here says how well any of it does on real reeds.
"""

#: Why a target is missed, by the name of its row; those without a line have no known reason.
WHY = {
    "blade: full answer with maps, cold": (
        "By the wall clock of a machine that others used; see the processor's own time beside it."
    ),
    "blade (stretch): warm curve": "Tried, not reached; see [the blade](../docs/theory/blade.md).",
    "blade (stretch): full answer with maps, cold": (
        "Tried, not reached; see [the blade](../docs/theory/blade.md)."
    ),
    "trials: success above the fixed order, points": (
        "What was tried, and which faults it leaves: see [the trials](../docs/theory/trials.md)."
    ),
    "trials: ruined by the planner": (
        "Floors crossed beside the zone that was scraped; see "
        "[the trials](../docs/theory/trials.md)."
    ),
    "calibration: force": "By the wall clock of a busy machine: 0.9 s of the processor's own time.",
    "calibration: crow's pitch": "The same.",
    "calibration: force and crow's pitch": "The same.",
    "blade: warm curve": "By the wall clock of a busy machine; 50 ms of the processor's own time.",
    "trials: true finding among the first three": (
        "Thick corners and thin sides of a tip lie near what one reading each at 0.01 mm can show."
    ),
}


def load(name: str) -> dict[str, Any]:
    """Return one file of figures; empty if it was never written."""
    file = RESULTS / f"{name}.json"
    return json.loads(file.read_text(encoding="utf-8")) if file.exists() else {}


def n(value: Any, digits: int = 3) -> str:
    """Return a number with so many digits that count."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "**no**"
    return f"{value:,.{digits}g}" if abs(value) < 1e4 else f"{value:,.0f}"


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a table in Markdown."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(row)} |" for row in lines) + "\n"


class Page:
    """The page, and what is missed on it."""

    def __init__(self) -> None:
        self.parts = [HEAD]
        self.missed: list[str] = []

    def met(self, name: str, met: bool) -> str:
        """Return yes or no, and remember what is missed."""
        if not met:
            self.missed.append(name)
        return n(bool(met))

    def section(self, title: str, data: dict[str, Any], text: str) -> None:
        """Add a section with its machine."""
        machine = data.get("machine", "")
        if isinstance(machine, dict):
            machine = ", ".join(
                f"{k.replace('_', ' ')} {n(v) if isinstance(v, float) else v}"
                for k, v in machine.items()
            )
        self.parts += [f"## {title}\n", text]
        if machine:
            self.parts.append(f"Machine: {machine}.\n")


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


def thickness(page: Page) -> None:
    """The thickness map."""
    data = load("map")
    if not data:
        return
    rows = []
    for what, found in data["coverage"].items():
        whole = found["all"]
        parts = [z for name, z in found.items() if name != "all"]
        inside = sum(z["inside"] for z in parts)
        never = all(z["never_worse"] for z in found.values())
        page.missed += [_uncovered(what, *z) for z in found.items() if not z[1]["inside"]]
        page.missed += [_worse(what, *z) for z in found.items() if not z[1]["never_worse"]]
        rows.append(
            [
                what,
                n(whole["blades"]),
                f"{whole['coverage']:.1%} ± {whole['standard_error']:.1%}",
                n(whole["inside"]),
                f"{inside} of {len(parts)}",
                f"{whole['rmse_um']['map']:.0f} / {whole['rmse_um']['residual']:.0f} / "
                f"{whole['rmse_um']['raw']:.0f}",
                n(never),
            ]
        )
    head = (
        "style, points",
        "blades",
        "truth inside the 95 % interval",
        "93 to 97 %",
        "zones within 90 to 98 %",
        "RMS error, µm: map / plain regression / interpolation",
        "never worse in any zone",
    )
    text = table(head, rows)
    speed = data["speed"]
    text += (
        f"\nSpeed: {speed['crowlight_ms']:.0f} ms for fit and both grids (target "
        f"{speed['target_ms']:.0f}; met: {page.met('map: speed', speed['met'])}), "
        f"{speed['ratio_to_scikit_learn']:.2f} times scikit-learn {speed['scikit_learn']} on the "
        f"same machine in the same run; 400 readings {speed['400_readings_ms']:.0f} ms.\n"
    )
    text += "\nFaults found, and identical blades called different:\n\n"
    rows = [
        [what, f"{row['found']} of {row['reeds']}"]
        for what, row in data["power"].items()
        if isinstance(row, dict) and "found" in row
    ]
    rows += [
        [
            f"identical, {what} (at most {row['asked']:.0%})",
            f"{row['named']} of {row['reeds']}, met: {page.met('map: identical', row['met'])}",
        ]
        for what, row in data["identical"].items()
    ]
    page.section(
        "Thickness map and judgement (invented reeds)", data, text + table(("fault", "named"), rows)
    )


def _uncovered(style: str, zone: str, row: dict[str, Any]) -> str:
    low, high = row["asked"]
    off, error = max(row["coverage"] - high, low - row["coverage"]), row["standard_error"]
    which = "too wide" if row["coverage"] > high else "too narrow"
    sure = "" if off > 2 * error else ", no more than chance allows"
    return (
        f"map: {style}, {zone}: truth inside {row['coverage']:.1%} of the time, asked {low:.0%} to "
        f"{high:.0%}; intervals {which} (standard error {error:.1%}{sure})"
    )


def _worse(style: str, zone: str, row: dict[str, Any]) -> str:
    error = row["rmse_um"]
    return (
        f"map: {style}, {zone}: RMS error {error['map']:.1f} µm, above the {error['residual']:.1f} "
        "µm of plain regression"
    )


def sound(page: Page) -> None:
    """Pitch and crow."""
    data = load("pitch")
    if data:
        rows = [
            [
                what,
                n(row["ours"]),
                f"{n(row['peer'])} ({row['best_peer']})",
                page.met(f"pitch: {what}", row.get("best", row["ours"] <= row["peer"])),
            ]
            for what, row in data["verdict"].items()
        ]
        head = (
            "median error in cents; time in ms per second of sound",
            "crowlight",
            "best peer",
            "not worse",
        )
        page.section("Pitch (synthetic tones)", data, table(head, rows))
    data = load("crow")
    if data:
        rows = [
            [
                f"{what} ({row['measure']})",
                f"{row['auc']:.3f} ({row['interval'][0]:.3f} to {row['interval'][1]:.3f})",
                n(row["asked"]),
                "" if row["met"] is None else page.met(f"crow: {what}", row["met"]),
                f"{data['detection']['hard_room'][what]['auc']:.2f}",
            ]
            for what, row in data["detection"]["asked"].items()
        ]
        head = ("told apart", "area under the curve", "asked", "met", "in a hard room")
        text = table(head, rows)
        rows = [
            [
                what,
                f"{row['shown']['share']:.1%}",
                f"{row['gross_where_shown']['share']:.2%}",
                page.met(f"crow pitch: {what}", row["met"]),
            ]
            for what, row in data["pitch"]["additive"].items()
        ]
        text += "\n" + table(
            ("crow", "pitch shown", "off by more than 50 cents, of those", "met"), rows
        )
        rows = [
            [what, f"{row['share']:.0%}"]
            for what, row in data["gate"].items()
            if isinstance(row, dict)
        ]
        text += "\n" + table(("unusable, or usable for “none”", "recognised"), rows)
        page.section("Crow (synthetic)", data, text)


def blades(page: Page) -> None:
    """The blade model and its referee."""
    data = load("blade")
    if data:
        rows = []
        for what, row in data["times"].items():
            floor, stretch = (data[k].get(what) for k in ("floors_s", "stretch_s"))
            met = page.met(f"blade: {what}", row["median_s"] <= floor) if floor else ""
            if stretch and row["median_s"] > stretch:
                page.missed.append(f"blade (stretch): {what}")
            ms = [
                n(None if s is None else 1e3 * s)
                for s in (row["median_s"], row["processor_s"], floor, stretch)
            ]
            rows.append([what, *ms, met])
        text = table(
            ("what", "median ms", "processor ms", "floor ms", "stretch ms", "floor met"), rows
        )
        rows = [[what, n(row["ratio"])] for what, row in data["peers"].items()]
        text += "\n" + table(("times faster than a peer", "ratio"), rows)
        worst = max(data["default_mesh_against_check_mesh"].items(), key=lambda kv: abs(kv[1]))
        what = worst[0].replace("_", " ")
        text += f"\nDefault mesh against check mesh: largest {what}, {worst[1]:+.2%}.\n"
        page.section("Blade model", data, text)
    data = load("referee")
    if not data:
        return
    limits = {
        "free_frequencies": ("frequencies, edges free", 4.0),
        "held_frequencies": ("frequencies, edges held", 4.0),
        "free_tip_deflection": ("deflection of the tip, edges free", 5.0),
        "held_tip_deflection": ("deflection of the tip, edges held", 5.0),
        "gap_2_4_6_kpa": ("gap at 2, 4 and 6 kPa, of the rest opening", 5.0),
    }
    reeds = data["reeds"]
    rows = []
    for key, (what, most) in limits.items():
        worst = [max(map(abs, r["shell_minus_solid_percent"][key])) for r in reeds.values()]
        met = page.met(f"referee: {what}", max(worst) <= most)
        rows.append([what, *(f"{w:.1f} %" for w in worst), f"{most:.0f} %", met])
    times = [f"{r['times_the_shell']['processor']:.0f}" for r in reeds.values()]
    rows.append(["times faster than CalculiX, processor", *times, "", ""])
    head = ("largest difference, shell from 3-D solid", *reeds, "within", "met")
    page.section("Referee: CalculiX", data, table(head, rows))


def calibration(page: Page) -> None:
    """What the measurements of a reed teach."""
    data = load("calibrate")
    if data:
        rows = [
            [
                what,
                n(1e3 * row["median_s"]),
                n(1e3 * row["processor_s"]),
                n(row["processor_s"] / data["peer_one_reed_solved"]["processor_s"]),
                page.met(f"calibration: {what}", data["floor_met"][what]),
            ]
            for what, row in data["times"].items()
        ]
        head = ("from", "ms", "processor ms", "times one solve", f"under {data['floor_s']:.0f} s")
        page.section("Calibration to a reed", data, table(head, rows))


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


def air(page: Page) -> None:
    """Air, thresholds, sound and advice."""
    data = load("air")
    if not data:
        return
    a, t, s, v = data["air"], data["thresholds"], data["sound"], data["travel"]
    rows = [
        ("state of the air, µs", a["microseconds_per_state"], a["target_microseconds"],
         f"{a['times_faster_than_coolprop']:.0f} times faster than CoolProp"),
        ("one threshold from kept poles, ms", t["one_threshold_ms"], t["target_ms"],
         f"{t['times_faster_than_bisection']:.1f} times faster than bisection on eigenvalues"),
        ("one second of sound at 48 kHz, ms", s["one_second_48_khz_ms"], s["target_ms"],
         f"{s['times_faster_than_numpy_loop']:.0f} times faster than a loop in numpy, "
         f"{s['times_faster_than_lsoda']:.0f} times than LSODA"),
        ("travel advice with 200 draws, s", v["advice_200_draws_s"], v["target_s"],
         f"followed against exact: {v['followed_against_20_exact_draws']:.0e}"),
    ]  # fmt: skip
    text = table(
        ("what", "value", "target", "met", "ratio"),
        [[w, n(x), n(y), page.met(f"air: {w}", x <= y), r] for w, x, y, r in rows],
    )
    page.section("Air, crow model and travel", data, text)


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
    ours, fixed = by["planner"], by["fixed order"]
    most = min(row["ruined"] for name, row in by.items() if name not in ("planner", "nothing"))
    ahead = ours["success"] - fixed["success"]
    targets: list[tuple[str, str, str, bool | None]] = [
        ("ruined by the planner", n(ours["ruined"]), "1 in 500, and no more than any rival",
         ours["ruined"] <= min(most, data["reeds"] / 500)),
        ("success above the fixed order, points", n(100 * ahead), "25", ahead >= 0.25),
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


def main() -> None:
    """Write the page."""
    page = Page()
    for part in (thickness, sound, blades, calibration, air, findings, trials, store, batches,
                 letter):  # fmt: skip
        part(page)
    page.parts.append("## Missed, and why\n")
    page.parts += [
        f"- {name}. {WHY.get(name, 'No reason known yet.')}" for name in dict.fromkeys(page.missed)
    ] or ["Nothing."]
    text = "\n".join(page.parts).replace("\n\n\n", "\n\n").rstrip() + "\n"
    (HERE / "README.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()

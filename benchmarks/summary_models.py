"""Figures of the models: blades, calibration, air."""

from __future__ import annotations

from summary_page import Page, load, n, table


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

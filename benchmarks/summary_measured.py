"""Figures of what is measured: thickness maps and sound."""

from __future__ import annotations

from typing import Any

from summary_page import Page, load, n, table


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

"""Writes `benchmarks/README.md` from the figures in `benchmarks/results`.

python benchmarks/summary.py
"""

from __future__ import annotations

from summary_advice import findings, trials
from summary_measured import sound, thickness
from summary_models import air, blades, calibration
from summary_page import HERE, WHY, Page
from summary_workshop import batches, letter, store


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

"""The invented workshop: what is hidden in its reeds comes out, and it says that it is invented."""

from collections.abc import Callable
from pathlib import Path

from crowlight.invented.workshop import REEDS, fill
from crowlight.wiring import open_desk


def test_the_demo_writes_a_report_for_every_reed(crowlight: Callable, tmp_path: Path) -> None:
    done = crowlight("demo", "--to", tmp_path / "demo", "--only")
    assert done.status == 0, done.err
    assert "invented" in done.out
    for reed in REEDS:
        page = (tmp_path / "demo" / f"{reed.name}.html").read_text(encoding="utf-8")
        assert "nvented" in page
        assert f">{reed.name}<" in page.replace("\n", "")
    again = crowlight("demo", "--to", tmp_path / "demo", "--only")
    assert again.status == 0
    assert again.out == done.out


def test_hidden_faults_come_out_if_the_gauge_can_tell_and_nothing_else(tmp_path: Path) -> None:
    with open_desk(tmp_path / "records") as desk:
        fill(desk)
        for reed in REEDS:
            found = desk.assess(reed.name)
            (group,) = found.groups
            assert group.mapped is not None
            named = [f for f in group.mapped.geometry.findings if f.decision.outcome == "differs"]
            assert reed.faults, reed.name
            hidden = {f.zone for f in reed.faults if reed.seen}
            assert {f.zone for f in named} == hidden, reed.name
            blades = {f.blade for f in reed.faults}
            assert {f.blade for f in named if f.blade} <= blades

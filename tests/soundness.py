"""What axe-core finds wrong with a page that a browser shows.

Its script comes with ``axe-playwright-python``, whose own way of running it hands over everything
that was looked at besides what is wrong: that takes longer than looking.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib.resources import files

from playwright.sync_api import Page

__all__ = ["faults"]

_RUN = """(rules) => axe.run(document, {
    resultTypes: ['violations'], ...(rules ? { runOnly: rules } : {}),
  }).then((found) => found.violations.flatMap((rule) => rule.nodes.map((node) =>
    `${rule.id}: ${node.html.slice(0, 200)} ${node.failureSummary}`)))"""


@cache
def _script() -> str:
    return (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")


def faults(page: Page, rules: Sequence[str] | None = None) -> list[str]:
    """Return what is wrong with a page as it stands, one line for each part; all rules if none."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(_script())
    return page.evaluate(_RUN, rules)

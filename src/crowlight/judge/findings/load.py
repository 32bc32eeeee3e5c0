"""Reading the catalogue of findings from its data files."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

from crowlight.errors import InputError
from crowlight.judge.findings.finding import (
    GROUPS,
    SOURCES,
    Catalogue,
    Caution,
    Check,
    Finding,
    Item,
    Remedy,
)
from crowlight.judge.findings.measures import MEASURES
from crowlight.judge.findings.signs import SIGNS
from crowlight.judge.findings.where import PLACES

__all__ = ["COUNTS", "catalogue", "read_catalogue"]

#: Files of findings; the other files hold what the findings refer to.
_FINDINGS = ("first", "before", "leak-age-opening", "tip", "heart", "balance-length")
_OTHERS = ("checks", "remedies", "cautions")
#: Evidence by counting alike reeds.
COUNTS: Mapping[str, str] = MappingProxyType({"batch-alike": "batch"})


@cache
def catalogue() -> Catalogue:
    """Return the catalogue that comes with crowlight.

    Examples
    --------
    >>> len(catalogue().findings) >= 45
    True
    """
    folder = files("crowlight.judge.findings") / "catalogue"
    return read_catalogue(
        [(folder / f"{name}.toml").read_text(encoding="utf-8") for name in (*_OTHERS, *_FINDINGS)]
    )


def read_catalogue(texts: Sequence[str]) -> Catalogue:
    """Build a catalogue from the texts of its files.

    Parameters
    ----------
    texts : sequence of str
        TOML; ``catalogue/first.toml`` explains the format. A file may hold any of the tables
        ``finding``, ``common``, ``check``, ``remedy`` and ``caution``.

    Raises
    ------
    InputError
        If something is missing, out of range, or refers to what is not there.
    """
    tables: dict[str, list[dict[str, Any]]] = {}
    for text in texts:
        try:
            content = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            msg = f"catalogue: {error}"
            raise InputError(msg) from None
        for name, rows in content.items():
            tables.setdefault(name, []).extend(rows)
    try:
        found = Catalogue(
            findings=_by_code(_finding(r, tables.get("common", [])) for r in tables["finding"]),
            checks=_by_code(_check(r) for r in tables["check"]),
            remedies=_by_code(_remedy(r) for r in tables["remedy"]),
            cautions=_by_code(Caution(r["code"], r["text"]) for r in tables["caution"]),
        )
    except KeyError as error:
        msg = f"catalogue: {error.args[0]!r} is missing or not known"
        raise InputError(msg) from None
    _refer(found)
    return _sorted_remedies(found)


def _by_code(rows: Iterator[Any]) -> Mapping[str, Any]:
    found: dict[str, Any] = {}
    for row in rows:
        if row.code in found:
            msg = f"catalogue: {row.code!r} stands there twice"
            raise InputError(msg)
        found[row.code] = row
    return MappingProxyType(found)


def _finding(row: dict[str, Any], common: Sequence[dict[str, Any]]) -> Finding:
    odds, source = row["prior_odds"]
    own = [_item(e, row["code"]) for e in row["evidence"]]
    names = {item.code for item in own}
    # what counts for or against a whole group, unless the finding says otherwise itself
    shared = (
        _item(e, row["code"]) for c in common if row["group"] in c["groups"] for e in c["evidence"]
    )
    finding = Finding(
        code=row["code"],
        title=row["title"],
        advice=row["advice"],
        group=row["group"],
        places=row.get("places", "reed"),
        prior_odds=float(odds),
        prior_source=source,
        causes=tuple(row["causes"]),
        evidence=(*own, *(item for item in shared if item.code not in names)),
        rivals=MappingProxyType(dict(row.get("rivals", {}))),
        remedies=tuple(row["remedies"]),
        cautions=tuple(row.get("cautions", ())),
        basis=row["basis"],
    )
    good = (
        finding.group in GROUPS
        and finding.places in PLACES
        and {source, finding.basis} <= set(SOURCES)
        and 0 < finding.prior_odds < 1
    )
    if not good:
        msg = (
            f"finding {finding.code!r}: group, places, source tag or prior odds "
            f"{finding.prior_odds} (must be between 0 and 1) cannot be right"
        )
        raise InputError(msg)
    return finding


def _item(row: dict[str, Any], finding: str) -> Item:
    if "measure" in row:
        measure = MEASURES[row["measure"]]
        item = Item(
            "measure",
            measure.code,
            measure.family,
            shift=row["shift"] * measure.scale,
            spread=row["spread"] * measure.scale,
            cap=row.get("cap", 20.0),
        )
    elif "count" in row:
        item = Item(
            "count",
            row["count"],
            COUNTS[row["count"]],
            if_so=row["if_so"],
            otherwise=row["otherwise"],
            cap=row.get("cap", 20.0),
        )
    else:
        sign = SIGNS[row["sign"]]
        item = Item("sign", sign.code, sign.family, if_so=row["if_so"], otherwise=row["otherwise"])
    chances = (item.if_so, item.otherwise)
    if not (all(0 < p < 1 for p in chances) and item.spread > 0 and item.cap > 1):
        msg = (
            f"finding {finding!r}, evidence {item.code!r}: chances must lie between 0 and 1, "
            "spread above 0, cap above 1"
        )
        raise InputError(msg)
    return item


def _check(row: dict[str, Any]) -> Check:
    for code in row["tells"]:
        if code not in MEASURES and code not in SIGNS and code not in COUNTS:
            raise KeyError(code)
    return Check(
        row["code"], row["title"], float(row["minutes"]), frozenset(row["tells"]), row["loads"]
    )


def _remedy(row: dict[str, Any]) -> Remedy:
    return Remedy(
        code=row["code"],
        title=row["title"],
        step=int(row["step"]),
        undoable=row["undoable"],
        cuts=row["cuts"],
        loads=row["loads"],
        zone=row.get("zone", ""),
        cautions=tuple(row.get("cautions", ())),
        effect=row["effect"],
        stop=row["stop"],
    )


def _refer(found: Catalogue) -> None:
    """Raise unless all that is referred to is there."""
    known = {
        "check": found.checks,
        "remedy": found.remedies,
        "caution": found.cautions,
        "finding": found.findings,
    }

    def references() -> Iterator[tuple[str, str, str]]:
        for f in found.findings.values():
            for rival, check in f.rivals.items():
                yield f.code, "finding", rival
                yield f.code, "check", check
            yield from ((f.code, "remedy", r) for r in f.remedies)
            yield from ((f.code, "caution", c) for c in f.cautions)
        for r in found.remedies.values():
            yield from ((r.code, "caution", c) for c in r.cautions)

    for owner, kind, code in references():
        if code not in known[kind]:
            msg = f"catalogue: {owner!r} names the {kind} {code!r}, which is not there"
            raise InputError(msg)


def _sorted_remedies(found: Catalogue) -> Catalogue:
    """Bring the remedies of every finding in the order of the ladder."""
    findings = {
        f.code: replace(
            f, remedies=tuple(sorted(f.remedies, key=lambda r: (found.remedies[r].step, r)))
        )
        for f in found.findings.values()
    }
    return replace(found, findings=MappingProxyType(findings))

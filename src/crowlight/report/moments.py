"""Two moments of a reed as plain values in millimetres, for JSON, and as text."""

from __future__ import annotations

from typing import Any

from crowlight.bench.moments import Compared, MapChange
from crowlight.bench.ports import Entry
from crowlight.report.counting import Counting
from crowlight.report.words import Words, in_locale, mark

__all__ = ["compared_in_mm", "compared_text"]


def compared_in_mm(compared: Compared) -> dict[str, Any]:
    """Return two moments of a reed as values that JSON knows.

    Parameters
    ----------
    compared : Compared
        The moments.

    Returns
    -------
    dict
        ``reed``, ``before`` and ``after`` (entry numbers); ``happened`` and ``gone``, entries with
        ``seq``, ``kind`` and ``at``; ``described``, fields with ``name``, ``before`` and ``after``
        as they are kept, in SI units; ``length_mm``, ``opening_mm``, ``clipped_mm`` and ``grade``,
        after less before, None unless both are known; ``thickness``, places read at both moments;
        ``maps``, with ``from_rim_mm`` (rows, tip first), ``fraction`` (columns) and for each blade
        ``change_mm`` and ``standard_uncertainty_mm``.
    """
    d = compared.difference
    return {
        "reed": compared.name,
        "before": compared.before.seq,
        "after": compared.after.seq,
        "happened": [_entry(e) for e in d.happened],
        "gone": [_entry(e) for e in d.gone],
        "described": [{"name": c.name, "before": c.before, "after": c.after} for c in d.described],
        "length_mm": _mm(d.length),
        "opening_mm": _mm(d.opening),
        "clipped_mm": _mm(d.clipped),
        "grade": d.grade,
        "thickness": [
            {
                "blade": c.place.blade.value,
                "from_rim_mm": _mm(c.place.along),
                "across_mm": _mm(c.place.across),
                "state": c.state.value,
                "before_mm": _mm(c.before),
                "after_mm": _mm(c.after),
                "change_mm": _mm(c.after - c.before),
            }
            for c in d.thickness
        ],
        "maps": [_map(m) for m in compared.maps],
    }


def _entry(entry: Entry) -> dict[str, Any]:
    return {
        "seq": entry.seq,
        "kind": entry.payload.kind,
        "at": entry.happened_at.isoformat(),
    }


def _map(change: MapChange) -> dict[str, Any]:
    return {
        "state": change.state.value,
        "style": change.style,
        "from_rim_mm": [_mm(s) for s in change.along],
        "fraction": list(change.fraction),
        "blades": {
            blade.value: {
                "change_mm": [[_mm(v) for v in row] for row in change.change[blade]],
                "standard_uncertainty_mm": [[_mm(v) for v in row] for row in change.sd[blade]],
            }
            for blade in change.change
        },
    }


def _mm(metres: float | None) -> float | None:
    """Return millimetres to a tenth of a micrometre: less is noise of the arithmetic."""
    return None if metres is None else round(metres * 1e3, 4)


def compared_text(
    compared: Compared, *, counting: Counting | None = None, words: Words | None = None
) -> str:
    """Return two moments of a reed as text.

    Parameters
    ----------
    compared : Compared
        The moments.
    counting : Counting, optional
        What positions are counted from; the bottom rim if not given.
    words : Words, optional
        The language of positions; English if not given.
    """
    counting, words = counting or Counting(), words or in_locale("en")
    d = compared_in_mm(compared)
    lines = [f"{d['reed']}: entry {d['after']} against entry {d['before']}"]
    lines += [f"- happened: {e['kind']} ({e['seq']}, {e['at'][:16]})" for e in d["happened"]]
    lines += [f"- no longer counts: {e['kind']} ({e['seq']})" for e in d["gone"]]
    lines += [f"- {c['name']}: {c['before']!r} -> {c['after']!r}" for c in d["described"]]
    for name, value in (("length", d["length_mm"]), ("opening", d["opening_mm"])):
        if value is not None:
            lines.append(f"- {name}: {value:+.3f} mm")
    if d["clipped_mm"]:
        lines.append(f"- clipped: {d['clipped_mm']:.3f} mm")
    if d["grade"] is not None:
        lines.append(f"- grade: {d['grade']:+d}")
    for c in d["thickness"]:
        where = words.say(
            mark("%(value)s mm %(from)s"),
            value=words.number(counting.position(c["from_rim_mm"] * 1e-3) * 1e3, 2),
            **{"from": counting.origin_of(words)},
        )
        lines.append(
            f"- {c['blade']} blade, {where}, "
            f"{c['across_mm']:+.2f} mm across, {c['state']}: {c['change_mm']:+.3f} mm"
        )
    for m in compared.maps:
        for blade, rows in m.change.items():
            pairs = zip(
                (v for row in rows for v in row),
                (s for row in m.sd[blade] for s in row),
                strict=True,
            )
            value, sd = min(pairs, key=lambda pair: pair[0] / max(pair[1], 1e-9))
            lines.append(
                f"- {blade.value} blade, map of {m.state.value} cane: the clearest loss is "
                f"{value * 1e3:+.3f} mm, standard uncertainty {sd * 1e3:.3f} mm"
            )
    return "\n".join(lines)

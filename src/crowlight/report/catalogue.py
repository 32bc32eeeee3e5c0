"""The message catalogue: what there is to translate, taken from code, data files and templates.

``python -m crowlight.report.catalogue`` writes ``locale/crowlight.pot`` anew; a test fails when it
is out of step.
"""

from __future__ import annotations

import io
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import DEFAULT_KEYWORDS, extract_from_dir
from babel.messages.pofile import write_po

from crowlight.judge.findings import source_sentences as findings_said
from crowlight.plan.cut import source_sentences as plan_said

__all__ = ["POT", "catalogue", "main"]

_PACKAGE = Path(__file__).parent.parent
#: The template every translation starts from.
POT = Path(__file__).parent / "locale" / "crowlight.pot"
_KEYWORDS = {**DEFAULT_KEYWORDS, "mark": None, "words": None, "say": None, "count": (1, 2)}
_METHODS = [
    ("report/**.py", "python"),
    ("web/**.py", "python"),
    ("report/templates/**", "jinja2"),
    ("web/templates/**", "jinja2"),
]
_OPTIONS = {
    key: {"trimmed": "true", "silent": "false"}
    for key in ("report/templates/**", "web/templates/**")
}


def catalogue() -> bytes:
    """Return the message template made from the code as it is."""
    found = Catalog(project="crowlight", charset="utf-8", fuzzy=False)
    for name, _, message, comments, context in extract_from_dir(
        _PACKAGE, _METHODS, _OPTIONS, keywords=_KEYWORDS
    ):
        entry = found.add(message, auto_comments=comments, context=context)
        # files, not lines: so that moving code about does not change the catalogue
        entry.locations = sorted({*entry.locations, (Path(name).as_posix(), 0)})
    # sentences of the pure packages stand in their data files
    for name, source in (("judge/findings", findings_said), ("plan/cut", plan_said)):
        for message in source():
            entry = found.add(message)
            entry.locations = sorted({*entry.locations, (name, 0)})
    out = io.BytesIO()
    write_po(out, found, width=100, sort_output=True, omit_header=True, include_lineno=False)
    return out.getvalue()


def main() -> None:
    """Write the template."""
    POT.parent.mkdir(exist_ok=True)
    POT.write_bytes(catalogue())


if __name__ == "__main__":
    main()

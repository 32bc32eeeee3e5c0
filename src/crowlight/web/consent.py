"""What is asked, and was answered, about a cut of a posted reed that nobody has allowed yet."""

from __future__ import annotations

from pydantic import ValidationError

from crowlight.bench.workshop_kinds import Consent
from crowlight.report.words import Words, mark
from crowlight.web.sending import Sent
from crowlight.web.typing_in import Trouble

__all__ = ["consent_of"]


def consent_of(sent: Sent, words: Words) -> tuple[Consent | None, list[Trouble]]:
    """Return the answer that stands in a form, or what is wrong with it.

    Parameters
    ----------
    sent : Sent
        The form: ``consent_answer`` and ``consent_how``.
    words : Words
        The language of the messages.
    """
    answer = sent.one("consent_answer")
    if answer not in {"yes", "not-asked"}:
        text = mark(
            "The player has not allowed this reed to be cut: say whether they were asked. Nothing "
            "was written down yet."
        )
        return None, [Trouble("consent_answer", words(text))]
    how = sent.one("consent_how")
    try:
        return Consent.model_validate({"to": "cut", "answer": answer, "how": how}), []
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        cause = first.get("ctx", {}).get("error") or first["msg"]
        return None, [Trouble("consent_how", str(cause))]

"""The nearest allowed word for a misspelt one."""

from __future__ import annotations

import difflib
import functools
import itertools
from collections.abc import Iterable

_MOST_LISTED = 12
_MOST_COMPARED = 1000  # a list of thousands of ids is not worth a second for every misspelt one


def nearest(word: str, allowed: Iterable[str]) -> str | None:
    """The allowed word that was probably meant, or None. Case, blanks, hyphens and underscores count for nothing."""
    return _nearest(str(word), tuple(itertools.islice(allowed, _MOST_COMPARED)))


@functools.lru_cache(maxsize=256)
def _nearest(word: str, allowed: tuple[str, ...]) -> str | None:
    by_form: dict[str, str] = {}
    for candidate in allowed:
        by_form.setdefault(_form(candidate), candidate)
    form = _form(word[:100])
    if form in by_form:
        return by_form[form]
    close = difflib.get_close_matches(form, by_form, n=1, cutoff=0.6)
    return by_form[close[0]] if close else None


def allowed_words(allowed: Iterable[str]) -> str:
    """A list for a message, cut after a dozen."""
    words = [str(word) for word in allowed]
    if not words:
        return "none is declared"
    rest = len(words) - _MOST_LISTED
    return ", ".join(words[:_MOST_LISTED]) + (f" and {rest} more" if rest > 0 else "")


def _form(word: str) -> str:
    return word.casefold().replace("_", "").replace(" ", "").replace("-", "")

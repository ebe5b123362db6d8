"""How pages say dates, numbers, codes and lists of names. HTML where a text alone would not do."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from nursery.core.codes import CodeError, parse_code
from nursery.core.dates import MONTHS, When, words

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

_CLOSE = "\u00a0"
"""A no-break space: a number and its unit stay on one line."""
_MONTH = re.compile("|".join(MONTHS))
_HYPHENATED = re.compile(r"(\w\S*-\S*\w)")


def date_words(when: When) -> str:
    """A date as people read it, its months in their language."""
    return _MONTH.sub(lambda month: _(month[0]), words(when))


def day(value: date) -> str:
    """A date as people read it: 4 March 2021."""
    return date_words(When(value, value))


def in_words(value: When | datetime | date | None) -> str | SafeString:
    """When something was, for people and (where HTML knows the form) for programs."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        local = timezone.localtime(value)
        text = f"{day(local.date())}, {local:%H:%M}"
        return format_html('<time datetime="{}">{}</time>', local.isoformat("T", "minutes"), text)
    when = value if isinstance(value, When) else When(value, value)
    if when.is_day or when.is_whole_month or when.is_whole_year:
        return format_html('<time datetime="{}">{}</time>', str(when), date_words(when))
    return date_words(when)


def on(when: When) -> str:
    """A date with its preposition, for the middle of a sentence: on 4 March 2021, in March 2021."""
    if when.is_day:
        return _("on %(day)s") % {"day": date_words(when)}
    if when.is_whole_year or when.is_whole_month:
        return _("in %(when)s") % {"when": date_words(when)}
    days = {"first": day(when.earliest), "last": day(when.latest)}
    return _("between %(first)s and %(last)s") % days


def number(value: int | float | Decimal | None, places: int | None = None) -> str:
    """A number with its thousands apart; rounded to `places` where they are given."""
    if value is None:
        return ""
    if places is not None:
        return f"{value:,.{places}f}"
    if isinstance(value, Decimal):
        return f"{value.normalize():,f}"
    return f"{value:,}"


def percent(share: float | None) -> str:
    """A share, 0 to 1, in per cent. Never 0 % or 100 % for what is only close to it."""
    if share is None:
        return ""
    value = share * 100
    shown = f"{value:.0f}"
    if (shown == "0" and value > 0) or (shown == "100" and value < 100):
        shown = f"{value:.1f}"
        if shown in ("0.0", "100.0"):
            shown = _("under 0.1") if value < 1 else _("over 99.9")
    return f"{shown}{_CLOSE}%"


def counted(n: int, names: _StrPromise) -> str:
    """A number with the word in the right number: `3 ramets`. `names` is an `ngettext_lazy`."""
    return f"{n:,}{_CLOSE}{names % n}"


def listed(names: Iterable[str]) -> str | SafeString:
    """Names in a sentence: A, B and C. Safe where all of them are HTML."""
    found = list(names)
    if len(found) < 2:
        return found[0] if found else ""
    if all(isinstance(name, SafeString) for name in found):
        return format_html(_("{names} and {last}"), names=joined(found[:-1]), last=found[-1])
    return _("{names} and {last}").format(names=", ".join(found[:-1]), last=found[-1])


def joined(parts: Iterable[Any], between: str = ", ") -> SafeString:
    """Parts one after the other; what is not HTML yet is escaped."""
    return format_html_join(between, "{}", ((part,) for part in parts))


def unbroken(text: Any) -> SafeString:
    """A text whose codes (words with a hyphen) are not parted at the end of a line."""
    parts = _HYPHENATED.split(str(text))
    return format_html_join(
        "",
        "{}",
        (
            (format_html('<span class="one">{}</span>', part) if n % 2 else part,)
            for n, part in enumerate(parts)
        ),
    )


def tag(code: str) -> SafeString:
    """A code or a physical tag in its own letters, the check character set slightly apart."""
    try:
        parsed = str(parse_code(code))
    except CodeError:
        return format_html('<code class="tag">{}</code>', code)
    body, _dash, check = parsed.rpartition("-")
    return format_html('<code class="tag">{}<span class="check">-{}</span></code>', body, check)


def link(text: Any, name: str, *args: Any) -> SafeString:
    """Words that lead to the page `name`."""
    shown = text if isinstance(text, SafeString) else unbroken(text)
    return format_html('<a href="{}">{}</a>', reverse(name, args=args), shown)


def ramet_link(code: str) -> SafeString:
    return link(tag(code), "ramet", code)


def links(names: Sequence[str], page: str) -> SafeString:
    """Codes, each leading to its page, with commas between."""
    return joined(link(name, page, name) for name in names)

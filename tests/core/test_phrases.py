"""How pages say dates, numbers, codes and lists of names."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import ngettext_lazy

from nursery.core import phrases
from nursery.core.codes import make_code, usable
from nursery.core.dates import parse_when

CODE = next(make_code("KB", n) for n in range(1, 9) if usable("KB", n))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2021-03-04", '<time datetime="2021-03-04">4 March 2021</time>'),
        ("2021-03", '<time datetime="2021-03">March 2021</time>'),
        ("2021", '<time datetime="2021">2021</time>'),
        ("2021-03-04T10:30", '<time datetime="2021-03-04T10:30">4 March 2021, 10:30</time>'),
        ("2021-03-04/2021-03-09", "4–9 March 2021"),
    ],
)
def test_a_date_is_said_in_words_and_for_programs(text: str, said: str) -> None:
    assert phrases.in_words(parse_when(text)) == said


def test_a_moment_is_said_in_the_time_of_the_installation() -> None:
    moment = datetime(2021, 3, 4, 10, 30, tzinfo=UTC)
    assert ">4 March 2021, 10:30</time>" in phrases.in_words(moment)


def test_a_day_alone_is_a_date_too() -> None:
    assert phrases.in_words(date(2021, 3, 4)) == phrases.in_words(parse_when("2021-03-04"))
    assert phrases.in_words(None) == ""


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0, "0 %"),
        (0.61, "61 %"),
        (1.0, "100 %"),
        (0.004, "0.4 %"),
        (0.9996, "over 99.9 %"),
        (0.996, "99.6 %"),
        (0.00001, "under 0.1 %"),
    ],
)
def test_a_share_is_never_rounded_to_nothing_or_to_all(share: float, said: str) -> None:
    assert phrases.percent(share) == said.replace(" %", "\u00a0%")


def test_numbers_keep_their_thousands_apart() -> None:
    assert phrases.number(1204) == "1,204"
    assert phrases.number(Decimal("7.1200")) == "7.12"
    assert phrases.number(Decimal("1300")) == "1,300"
    assert phrases.number(11.449, 1) == "11.4"
    assert phrases.number(None) == ""


def test_one_and_many_have_their_own_word() -> None:
    colonies = ngettext_lazy("donor colony", "donor colonies")
    assert phrases.counted(0, colonies) == "0\u00a0donor colonies"
    assert phrases.counted(1, colonies) == "1\u00a0donor colony"
    assert phrases.counted(2000, colonies) == "2,000\u00a0donor colonies"


def test_names_are_listed_as_in_a_sentence() -> None:
    assert phrases.listed([]) == ""
    assert phrases.listed(["A"]) == "A"
    assert phrases.listed(["A", "B", "C"]) == "A, B and C"


def test_a_list_is_html_only_where_all_of_it_is() -> None:
    safe = phrases.listed([mark_safe("<b>A</b>"), mark_safe("<b>B</b>")])
    assert isinstance(safe, SafeString)
    assert safe == "<b>A</b> and <b>B</b>"
    assert not isinstance(phrases.listed([mark_safe("<b>A</b>"), "<script>"]), SafeString)


def test_the_check_character_stands_apart() -> None:
    assert phrases.tag(CODE.lower()) == (
        f'<code class="tag">{CODE[:-2]}<span class="check">-{CODE[-1]}</span></code>'
    )
    assert phrases.tag("<T-9>") == '<code class="tag">&lt;T-9&gt;</code>'


def test_codes_are_not_broken_at_their_hyphens() -> None:
    said = phrases.unbroken("It lives in K-14 <b>.")
    assert said == 'It lives in <span class="one">K-14</span> &lt;b&gt;.'

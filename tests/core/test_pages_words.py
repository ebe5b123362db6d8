"""Words that stand fixed in a template are marked for translation, all of them."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.conf import settings

from nursery.core.actor import Role
from tests import factories as make
from tests.pages import read, reader

TEMPLATES = Path(settings.BASE_DIR) / "templates"

# What is the same in every language: the name of the register, and units.
NAMES = {"Ramet Register", "cm"}

# Attributes that people read or hear.
_READ = {"alt", "aria-description", "aria-label", "placeholder", "title"}

# Filters whose arguments are shown.
_SHOWN = r"(?:counted|default|default_if_none|pluralize|yesno)"

_COMMENT = re.compile(r"\{#.*?#\}|\{% comment %\}.*?\{% endcomment %\}", re.DOTALL)
_BLOCK = re.compile(r"(\{% blocktranslate\b[^%]*%\}).*?\{% endblocktranslate %\}", re.DOTALL)
_TAG = re.compile(r"\{%.*?%\}|\{\{.*?\}\}", re.DOTALL)
_ARGUMENT = re.compile(rf'\|{_SHOWN}:"([^"]*)"')
_PASSED = re.compile(r'\b(?:label|must|hint|caption|text|heading|title)="([^"]*)"')
_LETTERS = re.compile(r"[^\W\d_]{2}")

# Stands where a tag stood: words before it and after it are not one text.
_PARTED = "\ue000"


def _instead(tag: re.Match[str]) -> str:
    """What of a template tag is read although nobody translates it."""
    if tag[0].startswith("{{"):
        return " ".join(_ARGUMENT.findall(tag[0]))
    said = _ARGUMENT.findall(tag[0])
    if re.match(r"\{% (?:include|with)\b", tag[0]):
        said += _PASSED.findall(tag[0])
    return _PARTED + _PARTED.join(said) + _PARTED


class _Reader(HTMLParser):
    """Collects what of an HTML text is for people."""

    def __init__(self) -> None:
        super().__init__()
        self.words: set[str] = set()
        self.within: list[str] = []

    def keep(self, text: str | None) -> None:
        for part in (text or "").split(_PARTED):
            plain = " ".join(part.split()).strip("· ")
            if _LETTERS.search(plain) and plain not in NAMES:
                self.words.add(plain)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("code", "kbd", "script", "style"):
            self.within.append(tag)
        presses = tag == "input" and dict(attrs).get("type") in ("submit", "button")
        for written, value in attrs:
            name = written.strip(_PARTED)
            if name in _READ or name.endswith("-says") or (presses and name == "value"):
                self.keep(value)

    def handle_endtag(self, tag: str) -> None:
        if self.within and self.within[-1] == tag:
            self.within.pop()

    def handle_data(self, data: str) -> None:
        if not self.within:
            self.keep(data)


def unmarked(template: str) -> set[str]:
    """The words of a template that a reader of another language would still read in English."""
    text = _COMMENT.sub("", template)
    text = _BLOCK.sub(r"\1", text)
    text = _TAG.sub(_instead, text)
    reader = _Reader()
    reader.feed(text)
    reader.close()
    return reader.words


def _all_templates() -> list[str]:
    return sorted(str(path.relative_to(TEMPLATES)) for path in TEMPLATES.rglob("*.html"))


@pytest.mark.parametrize("name", _all_templates())
def test_words_of_a_template_are_marked_for_translation(name: str) -> None:
    assert unmarked((TEMPLATES / name).read_text()) == set()


@pytest.mark.parametrize(
    ("template", "words"),
    [
        ("<h1>Reefs</h1>", {"Reefs"}),
        ('<h1>{% translate "Reefs" %}</h1>', set()),
        ("<p>{% blocktranslate trimmed %} All {{ n }} reefs {% endblocktranslate %}</p>", set()),
        ("<p>{% if a %}one{% else %}{{ b }}{% endif %}</p>", {"one"}),
        ('<nav aria-label="Places"></nav>', {"Places"}),
        ('<p {% if a %}title="A reef"{% endif %}>1</p>', {"A reef"}),
        ('<nav aria-label="{% translate "Places" %}"></nav>', set()),
        ('<input placeholder="A name">', {"A name"}),
        ('<input type="submit" value="Send">', {"Send"}),
        ('<input type="hidden" name="step" value="look">', set()),
        ('<p data-near-says="Near ones"></p>', {"Near ones"}),
        ('<p class="narrow {{ a|default:"wide" }}">{{ b }}</p>', set()),
        ('<p>{{ n|counted:"reef,reefs" }}</p>', {"reef,reefs"}),
        ('<p>{{ name|default:_("nameless") }}</p>', set()),
        (
            '{% blocktranslate with n=a|default:"none" trimmed %}{{ n }}{% endblocktranslate %}',
            {"none"},
        ),
        ('{% include "box.html" with name="depth" label="Depth" %}', {"Depth"}),
        ('{% include "box.html" with name="depth" label=_("Depth") %}', set()),
        ("{% comment %}For those who write{% endcomment %}{# and read #}", set()),
        ("<script>const here = 1;</script><code>ABC</code>", set()),
        ("<title>{% block title %}Reefs{% endblock %} · Ramet Register</title>", {"Reefs"}),
    ],
)
def test_the_reader_of_templates_tells_marked_words_from_others(
    template: str, words: set[str]
) -> None:
    assert unmarked(template) == words


@pytest.mark.django_db
@pytest.mark.usefixtures("another_language")
def test_the_words_of_lists_and_of_kinds_of_entries_are_translated_where_they_are_shown() -> None:
    page = read(reader(Role.LEAD), "/enter/")
    for words in ("All entries", "Into the record", "Ramets were cut into new ones."):
        assert f"«{words}»" in page


@pytest.mark.django_db
@pytest.mark.usefixtures("another_language")
def test_the_words_of_corrections_are_translated_where_they_are_shown() -> None:
    by = make.lead()
    event = make.collection(by, make.colony(by, make.taxon(by), make.reef(by))).event
    lead = reader(Role.LEAD)
    page = read(lead, f"/events/{event.uid}/void/")
    assert "«It did not happen»" in page
    assert (
        "«The entry stays, marked as void; what it did is taken out. It can be restored.»" in page
    )
    typed = {"reason": "Entered twice.", "after": "0", "step": "look"}
    assert "«Void it»" in lead.post(f"/events/{event.uid}/void/", typed).content.decode()

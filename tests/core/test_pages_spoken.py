"""In another language no heading, head of a column, label or button of a page is left in English.

What stands in the record, names and codes, is the same in every language.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser

import pytest
from django.apps import apps
from django.test import Client
from django.urls import resolve, reverse

from nursery.core.actor import Role
from nursery.core.field_names import NAMES, capital
from nursery.core.models import Event, EventKind, Register, User
from nursery.core.views.keeping import REGISTERS, fields_of
from nursery.core.views.lists import label_of
from nursery.lineage.models import Ramet
from nursery.outplanting.forms import names_of
from nursery.outplanting.views.kinds import SLIPS
from tests import factories as make
from tests.genotyping.laboratory import ONE, panel, proposal, samples, table
from tests.pages import reader

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("another_language")]

LISTS = [
    "colonies",
    "collections",
    "reefs",
    "taxa",
    "permits",
    "genets",
    "ramets",
    "fragmentations",
    "structures",
    "nurseries",
    "systems",
    "bays",
    "sites",
    "plots",
    "outplantings",
    "visits",
    "events",
    "samples",
    "panels",
    "genotype-tables",
]

_READ = ("button", "caption", "dt", "h1", "h2", "h3", "label", "legend", "option", "summary", "th")
_SAID = re.compile(r"«[^«»]*»")
_CODE = re.compile(r"\b[\w-]*\d[\w-]*\b")
_LETTERS = re.compile(r"[^\W\d_]{2}")

# Units, symbols, and words of people's own that are no row's name.
_ANYWHERE = {"ID", "Ramet Register", "UTC", "WGS 84", "cm", "mm"}


class _Reader(HTMLParser):
    """Collects the texts of a page's headings, heads of columns, labels, buttons and choices."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        # The heads of rows are what stands in the record.
        if tag in _READ and dict(attrs).get("scope") != "row":
            self.open.append(tag)
            self.texts.append("")
        elif tag == "code" and self.open:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self.open and self.open[-1] == tag:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        # What has to be typed as it stands is code.
        if self.open and self.open[-1] != "code":
            self.texts[-1] += data


def _names() -> list[str]:
    """What rows of the record are called, the longest first."""
    found = {str(user) for user in User.objects.all()} | _ANYWHERE
    for model in apps.get_models():
        if issubclass(model, Register):
            for row in model._default_manager.all():
                found |= {str(row), row.code, str(getattr(row, "name", ""))}
    return sorted(filter(None, found), key=len, reverse=True)


def _left(page: str, names: list[str]) -> Iterator[str]:
    """The texts of a page that are neither translated nor names of the record."""
    read = _Reader()
    read.feed(page)
    read.close()
    for text in dict.fromkeys(read.texts):
        rest = text
        while _SAID.search(rest):
            rest = _SAID.sub("", rest)
        for name in names:
            rest = rest.replace(name, "")
        if _LETTERS.search(_CODE.sub("", rest)):
            yield " ".join(text.split())


def _untranslated(client: Client, addresses: list[str]) -> dict[str, list[str]]:
    """What is left in English of each page, for those of which anything is."""
    names, found = _names(), {}
    for address in addresses:
        answer = client.get(address)
        assert answer.status_code == 200, (address, answer.status_code)
        if left := list(_left(answer.content.decode(), names)):
            found[address] = left
    return found


@pytest.fixture
def planted(programme: make.Programme) -> Ramet:
    """An outplant that was seen, of a programme in which one of most things has happened."""
    first, second = programme.outplants(2)
    make.visit(programme.lead, programme.site, {first: "alive", second: "dead"})
    make.check(programme.lead, {programme.mother(): "attached"})
    return first


@pytest.mark.usefixtures("planted")
def test_lists_are_told_in_the_language_of_the_reader() -> None:
    assert _untranslated(reader(Role.LEAD), [reverse(name) for name in LISTS]) == {}


def test_pages_of_things_are_told_in_the_language_of_the_reader(
    programme: make.Programme, planted: Ramet
) -> None:
    here = programme
    permit = make.permit(here.lead)
    addresses = [
        *(
            reverse(name, args=[row.code])
            for name, row in (
                *(("colony", here.colony), ("colony-descent", here.colony), ("reef", here.reef)),
                *(("genet", here.colony.genet), ("genet-descent", here.colony.genet)),
                *(("taxon", here.taxon), ("permit", permit), ("nursery", here.nursery)),
                *(("bay", here.bay), ("system", here.bay.system), ("ramet", planted)),
                *(("structure", here.plate), ("structure", here.tray)),
                *(("structure-label", here.tray), ("site", here.site), ("plot", here.plot)),
            )
        ),
        *(reverse(name) for name in ("home", "map", "matrix", "unsettled", "settled", "work")),
        *(reverse("event", args=[event.uid]) for event in Event.objects.all()),
    ]
    assert _untranslated(reader(Role.LEAD), addresses) == {}


def test_pages_of_genotypes_are_told_in_the_language_of_the_reader(
    programme: make.Programme,
) -> None:
    lead = programme.lead
    taken = samples(lead, programme.colony, *programme.mothers(2))
    calls = {
        taken[0]: ONE,
        taken[1]: ("1/1", *ONE[1:]),
        taken[2]: ("1/1", "3/3", *ONE[2:]),
    }
    made = table(lead, panel(lead), calls)
    found = proposal(lead, made, threshold=1)
    addresses = [
        reverse("sample", args=[taken[0].code]),
        reverse("panel", args=[made.panel.code]),
        reverse("genotypes", args=[made.uid]),
        reverse("matches", args=[found.uid]),
        reverse("match-group", args=[found.uid, 1]),
        reverse("take-samples"),
        reverse("import-genotypes"),
        f"{reverse('propose-matches')}?table={made.uid}",
    ]
    assert _untranslated(reader(Role.LEAD), addresses) == {}


def test_forms_are_told_in_the_language_of_the_reader(programme: make.Programme) -> None:
    here = programme
    event = make.collection(here.lead, here.colony).event
    addresses = [
        *(reverse(name) for name in ("collect", "cut", "dive", "watch", "bags", "enter")),
        *(reverse("enter-kind", args=[EventKind[kind.upper()].word]) for kind in SLIPS),
        *(reverse(name, args=[event.uid]) for name in ("void", "amend", "intake")),
        reverse("watch-plot", args=[here.plot.code]),
        *(reverse("new", args=[register]) for register in REGISTERS),
        reverse("edit", args=["colonies", here.colony.code]),
    ]
    assert _untranslated(reader(Role.LEAD), addresses) == {}


def test_names_that_are_worked_out_are_marked_for_those_who_translate() -> None:
    listed = {
        name
        for page in LISTS
        for name in resolve(reverse(page)).func.view_class.filterset_class.get_filters()
        if label_of(name) == f"«{capital(name)}»"
    }
    kept = {name for model in REGISTERS.values() for name in fields_of(model)}
    kinds = {str(model._meta.verbose_name) for model in REGISTERS.values()}
    entered = {name for slip in SLIPS.values() for name in names_of(slip.model)}
    assert {capital(name) for name in listed | kept | kinds | entered} - NAMES == set()


def test_the_reader_of_pages_tells_translated_words_and_names_from_others() -> None:
    page = (
        "<h1>«Reef» Near Bank</h1><table><th scope='col'>Taxon</th><th scope='row'>Any</th></table>"
        "<h2>«Cut from «2 ramets»» K7-3</h2><button>Save «it»</button><p>Not looked at</p>"
    )
    assert list(_left(page, ["Near Bank"])) == ["Taxon", "Save «it»"]

"""The command line gives the same answers as the API and the pages."""

from __future__ import annotations

import json
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from nursery.core.actor import Role
from nursery.lineage.models import Ramet
from tests import factories as make
from tests.factories import Programme

pytestmark = pytest.mark.django_db


@pytest.fixture
def programme() -> Programme:
    return make.programme()


@pytest.fixture
def outplant(programme: Programme) -> Ramet:
    """The first of three outplants, seen alive once."""
    planted = programme.outplants(3)
    make.visit(programme.lead, programme.site, {planted[0]: "alive", planted[1]: "dead"})
    return planted[0]


def said(*words: str) -> str:
    """What a command prints."""
    out = StringIO()
    call_command(*words, stdout=out)
    return out.getvalue()


def api(path: str) -> Any:
    """What the API answers a viewer."""
    answer = make.client(Role.VIEWER).get(path)
    assert answer.status_code == 200, answer.content
    return answer.json()


def test_an_outplant_is_traced_alike_on_the_command_line_the_api_and_a_page(
    programme: Programme, outplant: Ramet
) -> None:
    told = json.loads(said("trace", outplant.code, "--json"))
    assert told == api(f"/api/ramets/{outplant.code}/trace/")
    assert told["complete"] is True
    assert [donor["colony"] for donor in told["donors"]] == [programme.colony.code]
    page = make.client(Role.VIEWER).get(f"/ramets/{outplant.code}/").content.decode()
    for node in told["nodes"]:
        assert node["ramet"].partition("-")[0] in page
    assert programme.colony.code in page
    assert programme.plot.code in page


def test_a_trace_is_told_from_the_plug_to_the_colony(programme: Programme, outplant: Ramet) -> None:
    lines = said("trace", outplant.code).splitlines()
    assert lines[0].startswith(outplant.code)
    assert any(line.startswith(f"* donor colony {programme.colony.code}") for line in lines)
    assert lines[-1] == "The trace is complete: every step leads to a donor colony."


def test_a_code_that_is_not_there_ends_the_command_with_its_reason() -> None:
    with pytest.raises(CommandError, match=r"\[unknown_ramet\]"):
        said("trace", "no such tag")


@pytest.mark.parametrize("options", [[], ["--state", "seen"], ["--as-of", "2030-01-01"]], ids=str)
def test_diversity_is_told_alike_on_the_command_line_and_the_api(
    programme: Programme, outplant: Ramet, options: list[str]
) -> None:
    told = json.loads(said("diversity", programme.site.code, *options, "--json"))
    pairs = zip(options[::2], options[1::2], strict=True)
    asked = "&".join(f"{name[2:].replace('-', '_')}={value}" for name, value in pairs)
    assert told == api(f"/api/sites/{programme.site.code}/diversity/?{asked}".rstrip("?"))


def test_diversity_begins_with_a_sentence_with_its_numbers(
    programme: Programme, outplant: Ramet
) -> None:
    first, *rest = said("diversity", programme.site.code).splitlines()
    assert "stands at 1.0 effective genets of 1, in 2 ramets alive" in first
    assert any("1 were never looked for" in line for line in rest)


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (["NOWHERE"], "unknown_site"),
        (["SITE", "--taxon", "no such"], "unknown_taxon"),
        (["SITE", "--as-of", "yesterday"], "2026-03-31"),
    ],
    ids=str,
)
def test_a_wrong_question_about_diversity_is_told_what_is_wrong(
    programme: Programme, words: list[str], reason: str
) -> None:
    asked = [programme.site.code if word == "SITE" else word for word in words]
    with pytest.raises(CommandError, match=reason):
        said("diversity", *asked)

"""The API's description and its page."""

import json
import re
from typing import TYPE_CHECKING, Any

import pytest
from django.conf import settings
from django.contrib.staticfiles.finders import find
from django.core.management import call_command
from django.test import Client
from drf_spectacular.validation import validate_schema

from nursery.core.actor import Role
from nursery.core.api.answers import schema_of
from nursery.diversity.queries import Report
from nursery.lineage.queries import Trace
from nursery.lineage.regrouping import Effect
from nursery.outplanting.actions.correct import Outcome
from nursery.outplanting.unsettled import Unsettled
from tests import factories as make

if TYPE_CHECKING:
    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer


@pytest.fixture(scope="module")
def described(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The description, made with every warning a failure."""
    file = tmp_path_factory.mktemp("description") / "api.json"
    call_command("spectacular", "--fail-on-warn", "--format", "openapi-json", file=str(file))
    body: dict[str, Any] = json.loads(file.read_text())
    return body


def test_the_description_is_valid_and_without_a_warning(described: dict[str, Any]) -> None:
    validate_schema(described)
    assert described["openapi"] == "3.1.0"


def test_every_endpoint_says_what_a_problem_looks_like(described: dict[str, Any]) -> None:
    operations = [
        operation
        for path, methods in described["paths"].items()
        for operation in methods.values()
        if path != "/api/schema/"
    ]
    assert len(operations) > 80
    for operation in operations:
        content = operation["responses"]["4XX"]["content"]
        assert list(content) == ["application/problem+json"], operation["operationId"]


def test_entries_are_described_by_their_input_models(described: dict[str, Any]) -> None:
    sent = described["paths"]["/api/fragmentations/"]["post"]["requestBody"]["content"]
    name = "FragmentationInRequest"
    schema = described["components"]["schemas"][name]
    assert sent["application/json"]["schema"]["$ref"] == f"#/components/schemas/{name}"
    assert schema["additionalProperties"] is False
    assert schema["required"] == ["when", "sources"]


def test_a_correction_is_described_without_the_event_of_its_address(
    described: dict[str, Any],
) -> None:
    for how, required in (("void", ["reason"]), ("amend", ["reason"]), ("restore", ["reason"])):
        schema = described["components"]["schemas"][f"Event{how.capitalize()}Request"]
        assert "event" not in schema["properties"]
        assert "preview" in schema["properties"]
        assert (schema["required"], schema["additionalProperties"]) == (required, False)


def test_a_problem_may_say_which_event_is_in_the_way(described: dict[str, Any]) -> None:
    schemas = described["components"]["schemas"]
    assert "in_the_way" in schemas["Problem"]["properties"]
    assert "in_the_way" not in schemas["Problem"]["required"]
    assert list(schemas["InTheWay"]["properties"]) == ["uid", "kind", "when"]


@pytest.mark.parametrize("answer", [Report, Trace, Outcome, Effect, Unsettled])
def test_answers_are_described_field_by_field(answer: type) -> None:
    schema = schema_of(answer)
    assert schema["required"] == list(schema["properties"]) == list(answer.__annotations__)


def test_what_has_no_plain_form_has_no_description() -> None:
    with pytest.raises(TypeError):
        schema_of(bytes)


@pytest.mark.django_db
def test_the_page_has_no_script_or_style_of_its_own() -> None:
    client = Client()
    client.force_login(make.person(Role.VIEWER))
    page = client.get("/api/docs/").content.decode()
    assert page.count("<script") == page.count("<script src=") == 2
    assert "<style" not in page
    assert not re.search(r"\son\w+=", page)


@pytest.mark.django_db
def test_everything_the_page_loads_is_here() -> None:
    client = Client()
    client.force_login(make.person(Role.VIEWER))
    page = client.get("/api/docs/").content.decode()
    addresses = re.findall(r'(?:src|href)="([^"]+)"', page)
    assert len(addresses) == 4
    for address in addresses:
        assert address.startswith(settings.STATIC_URL)
        assert find(address.removeprefix(settings.STATIC_URL)) is not None


@pytest.mark.django_db(transaction=True)
def test_the_page_shows_the_endpoints(live_server: "LiveServer", page: "Page") -> None:
    client = Client()
    client.force_login(make.person(Role.VIEWER))
    session = {"name": "sessionid", "value": client.cookies["sessionid"].value}
    page.context.add_cookies([{**session, "url": live_server.url}])  # type: ignore[typeddict-item]
    page.goto(f"{live_server.url}/api/docs/")
    page.get_by_role("link", name="fragmentations", exact=True).click()
    page.get_by_text("Enter: fragmentation").wait_for()

"""What was changed in a register's row stands on its page."""

from __future__ import annotations

import pytest

from nursery.core.actor import Role
from nursery.core.models import Register
from nursery.core.registers import edit
from tests import factories as make
from tests.pages import cost, read, reader

pytestmark = pytest.mark.django_db

PAGES = (
    ("reef", "reefs"),
    ("nursery", "nurseries"),
    ("bay", "bays"),
    ("plate", "structures"),
    ("taxon", "taxa"),
    ("colony", "colonies"),
    ("site", "sites"),
    ("plot", "plots"),
)


def after_edits(text: str) -> str:
    return text.partition("Edits so far")[2]


@pytest.mark.parametrize(("name", "path"), PAGES)
def test_who_changed_what_and_when_stands_on_the_rows_page(name: str, path: str) -> None:
    begun = make.programme()
    row: Register = getattr(begun, name)
    edit(begun.lead, type(row)._default_manager.get(pk=row.pk), {"note": "first words"})
    edit(begun.lead, type(row)._default_manager.get(pk=row.pk), {"note": "second words"})
    told = after_edits(read(reader(Role.LEAD), f"/{path}/{row.code}/"))
    newest, _, older = told.partition("second words")
    assert f"{begun.lead.name}, " in newest
    assert "first words" in newest
    assert "first words" in older


def test_who_may_not_keep_the_register_is_not_told() -> None:
    begun = make.programme()
    edit(begun.lead, begun.reef, {"note": "first words"})
    assert "Edits so far" not in read(reader(Role.VIEWER), f"/reefs/{begun.reef.code}/")


def test_an_edit_of_a_colony_tells_no_exact_position() -> None:
    begun = make.programme()
    exact = {"latitude": "-17.512345", "longitude": "-149.823456", "uncertainty_m": 5}
    colony = make.colony(begun.lead, begun.taxon, begun.reef, **exact)
    edit(begun.lead, colony, {"note": "seen"})
    page = reader(Role.FIELD).get(f"/colonies/{colony.code}/").content.decode()
    told = page.partition('class="edits"')[2].partition("</details>")[0]
    assert "seen" in told
    assert "512345" not in told
    assert "823456" not in told


def test_a_page_costs_the_same_however_often_its_row_was_edited() -> None:
    begun = make.programme()
    client = reader(Role.LEAD)
    address = f"/reefs/{begun.reef.code}/"
    few = cost(client, address)
    for number in range(4):
        edit(begun.lead, begun.reef, {"note": f"{number}"})
    assert cost(client, address) == few

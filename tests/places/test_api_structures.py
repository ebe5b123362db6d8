"""Structures by API: set up, found, and edited only as far as what is in them allows."""

import pytest

from nursery.core.actor import Role
from tests import factories as make

pytestmark = pytest.mark.django_db


def test_a_plate_is_set_up_with_blocked_cells() -> None:
    programme = make.programme()
    answer = make.client(Role.NURSERY, at=programme.nursery).post(
        "/api/structures/",
        {"code": "k9", "kind": "plate", "rows": 11, "columns": 11, "blocked": "A1 K1 A11 K11"},
    )
    assert answer.status_code == 201, answer.content
    assert answer.json()["blocked"] == ["A1", "K1", "A11", "K11"]


def test_structures_are_found_by_where_they_stand() -> None:
    programme = make.programme()
    make.structure(programme.lead)
    api = make.client(Role.VIEWER)
    for query in (
        f"nursery={programme.nursery.code}",
        f"bay={programme.bay.code}",
        f"system={programme.bay.system.code}",
    ):
        rows = api.get(f"/api/structures/?kind=plate&{query}").json()["results"]
        assert [row["code"] for row in rows] == [programme.plate.code], query


@pytest.mark.parametrize("change", [{"blocked": ["C7"]}, {"rows": 6}, {"rows": None}])
def test_a_cell_with_something_in_it_is_not_taken_away(change: dict[str, object]) -> None:
    programme = make.programme()
    row = {"ramet": programme.mother().code, "structure": programme.plate.code, "cell": "C7"}
    make.move(programme.lead, [row])
    if "rows" in change and change["rows"] is None:
        change = {"rows": None, "columns": None}
    answer = make.client(Role.LEAD).patch(f"/api/structures/{programme.plate.code}/", change)
    assert (answer.status_code, answer.json()["code"]) == (400, "cell_occupied")
    assert (
        make.client(Role.LEAD).get(f"/api/structures/{programme.plate.code}/").json()["rows"]
        == programme.plate.rows
    )


def test_a_cell_that_holds_a_structure_is_not_taken_away() -> None:
    programme = make.programme()
    rock = make.structure(programme.lead, kind="rock", rows=1, columns=3)
    standing = {"structure": rock.code, "parent": programme.plate.code, "cell": "C7"}
    make.move_structures(programme.lead, [standing])
    answer = make.client(Role.LEAD).patch(
        f"/api/structures/{programme.plate.code}/", {"blocked": ["C7"]}
    )
    assert (answer.status_code, answer.json()["code"]) == (400, "cell_occupied")


def test_an_empty_cell_may_be_blocked() -> None:
    programme = make.programme()
    answer = make.client(Role.NURSERY, at=programme.nursery).patch(
        f"/api/structures/{programme.plate.code}/", {"blocked": ["C7"]}
    )
    assert answer.json()["blocked"] == ["C7"]


def test_staff_of_another_nursery_do_not_edit_it() -> None:
    programme = make.programme()
    elsewhere = make.nursery(programme.lead)
    answer = make.client(Role.NURSERY, at=elsewhere).patch(
        f"/api/structures/{programme.plate.code}/", {"note": "ours"}
    )
    assert (answer.status_code, answer.json()["code"]) == (403, "not_your_nursery")

"""Pages of taxa, permits, genets and donor colonies, and the marks of genets."""

import itertools
from datetime import timedelta

import pytest

from nursery.core.actor import Role
from nursery.core.dates import latest_today
from nursery.core.registers import edit
from nursery.donors.flagged import flags_of_collection, flags_of_collections
from nursery.donors.marks import HATCHES, HUES, mark_of
from nursery.donors.models import Collection, Genet
from tests import factories as make
from tests.factories import Programme
from tests.pages import cost, read, reader

pytestmark = pytest.mark.django_db


@pytest.fixture
def placed(programme: Programme) -> str:
    """The page of a colony whose exact position is known."""
    colony = make.colony(
        programme.lead,
        programme.taxon,
        programme.reef,
        latitude="7.1234567",
        longitude="134.7654321",
        uncertainty_m="8",
    )
    return f"/colonies/{colony.code}/"


@pytest.mark.parametrize("role", [Role.FIELD, Role.LEAD])
def test_those_who_work_with_a_position_see_it(placed: str, role: Role) -> None:
    said = read(reader(role), placed)
    assert "7.1234567, 134.7654321" in said
    assert "WGS 84, exact, within 8 m" in said


def test_all_others_see_it_rounded_with_its_uncertainty(placed: str) -> None:
    said = read(reader(Role.VIEWER), placed)
    assert "7.12, 134.77" in said
    assert "rounded, within 1,578 m" in said
    assert "0.01" in said
    assert "7.1234" not in said


@pytest.mark.parametrize("page", ["/colonies/", "/collections/", "/reefs/", "/events/"])
def test_lists_show_no_position(programme: Programme, placed: str, page: str) -> None:
    assert "7.12" not in read(reader(Role.LEAD), page)


def test_a_colony_tells_where_its_descendants_are(programme: Programme) -> None:
    programme.outplants(3)
    programme.mothers(2)
    said = read(reader(Role.VIEWER), f"/colonies/{programme.colony.code}/")
    assert "6 ramets come from donor colony" in said
    assert "6 living" in said
    assert f"plot {programme.plot.code}, {programme.site.code} 3 0" in said
    assert f"{programme.tray.code} at {programme.nursery.code} 3 0" in said


def test_a_collection_shows_its_permit_and_what_is_irregular(programme: Programme) -> None:
    permit = make.permit(programme.lead, pieces="2", valid_until="2020-06-30")
    collection = make.collection(programme.lead, programme.colony, count=3, permits=[permit.code])
    for page in (f"/colonies/{programme.colony.code}/", f"/events/{collection.event.uid}/"):
        said = read(reader(Role.VIEWER), page)
        assert permit.code in said
        assert f"{permit.code} lapsed on 2020-06-30." in said
        assert f"{permit.code} allows 2 pieces; 3 were taken." in said


def test_flags_for_many_are_the_same_as_for_one(programme: Programme) -> None:
    lead, colony = programme.lead, programme.colony
    few = make.permit(lead, pieces="3")
    many = make.permit(lead, pieces="5", valid_until="2021-06-30")
    other = make.permit(lead, taxa=[make.taxon(lead).code])
    days = ("2021-01-10", "2021-02-01", "2021-07-01")
    for permits in ([], [few], [few, many], [many], [other], [few, other], [few]):
        for day in days:
            codes = [permit.code for permit in permits]
            make.collection(lead, colony, when=day, count=1, permits=codes)
    rows = list(Collection.objects.select_related("event"))
    together = flags_of_collections(rows)
    one_by_one = {row.pk: flags for row in rows if (flags := flags_of_collection(row))}
    assert together == one_by_one
    assert {flag.code for flags in together.values() for flag in flags} == {
        "no_permit",
        "permit_exceeded",
        "permit_lapsed",
        "permit_other_taxon",
    }


def test_a_permit_says_when_it_lapses_and_what_was_done_under_it(programme: Programme) -> None:
    soon = latest_today() + timedelta(days=10)
    permit = make.permit(programme.lead, valid_until=soon.isoformat())
    make.collection(programme.lead, programme.colony, permits=[permit.code])
    said = read(reader(Role.VIEWER), f"/permits/{permit.code}/")
    assert "1 entry names this permit." in said
    assert "in 10 days" in said
    assert "10 January 2021" in said
    assert "the authority decides" in said


def test_a_genet_is_presumed_until_a_panel_confirmed_it(programme: Programme) -> None:
    genet = Genet.objects.get(pk=programme.colony.genet_id)
    page = f"/genets/{genet.code}/"
    client = reader(Role.VIEWER)
    assert "Status presumed" in read(client, page)
    values = {"status": "confirmed", "panel": "12 loci", "confirmed_on": "2022-05-01"}
    edit(programme.lead, genet, values)
    assert "confirmed by 12 loci on 1 May 2022" in read(client, page)


def test_a_merged_genet_is_told_with_the_one_it_turned_out_to_be(programme: Programme) -> None:
    programme.mothers(2)
    first = programme.colony.genet
    second = make.colony(programme.lead, programme.taxon, programme.reef).genet
    # Merging is an event of a later app: the row is what it leaves.
    Genet.objects.filter(pk=second.pk).update(canonical=first)
    client = reader(Role.VIEWER)
    said = read(client, f"/genets/{second.code}/")
    assert f"the same as {first.code}" in said
    assert "2 ramets come from" in said
    assert second.code in read(client, f"/genets/{first.code}/")


def test_genets_are_listed_by_how_many_of_their_ramets_live(programme: Programme) -> None:
    other = make.colony(programme.lead, programme.taxon, programme.reef)
    programme.mother()
    client = reader(Role.VIEWER)
    assert "1 genet with living 1." in read(client, "/genets/?living=1")
    assert programme.colony.genet.code in read(client, "/genets/?living=1")
    assert other.genet.code in read(client, "/genets/?living=0")


@pytest.mark.parametrize(
    ("page", "queries"),
    [
        ("/taxa/", 7),
        ("/permits/", 6),
        ("/genets/", 8),
        ("/colonies/", 9),
        ("/collections/", 16),
    ],
)
def test_a_list_costs_no_more_for_more_rows(programme: Programme, page: str, queries: int) -> None:
    lead = programme.lead
    permit = make.permit(lead, pieces="100", taxa=[programme.taxon.code]).code
    make.collection(lead, programme.colony, permits=[permit])
    client = reader(Role.VIEWER)
    few = cost(client, page)
    for _ in range(4):
        colony = make.colony(lead, make.taxon(lead), make.reef(lead))
        also = make.permit(lead, pieces="1").code
        make.collection(lead, colony, count=3, permits=[permit, also])
    assert few == cost(client, page) == queries


@pytest.mark.parametrize("kind", ["colonies", "genets"])
def test_a_page_costs_no_more_for_more_descendants(programme: Programme, kind: str) -> None:
    permit = make.permit(programme.lead).code
    programme.mothers(permits=[permit])
    row = programme.colony if kind == "colonies" else programme.colony.genet
    client = reader(Role.FIELD)
    few = cost(client, f"/{kind}/{row.code}/")
    for _ in range(3):
        make.cut(programme.lead, programme.mothers(permits=[permit]), 5)
    assert few == cost(client, f"/{kind}/{row.code}/")


def test_no_two_genets_share_a_label() -> None:
    assert len({mark_of(pk).label for pk in range(1, 3001)}) == 3000
    assert [mark_of(pk).label for pk in (1, 9, 10, 207, 208)] == ["a1", "a9", "b1", "z9", "aa1"]


def test_genets_entered_one_after_another_share_no_hue_with_hatch() -> None:
    for first in (1, 17, 500):
        marks = [mark_of(pk) for pk in range(first, first + HUES * HATCHES)]
        assert len({(mark.hue, mark.hatch) for mark in marks}) == HUES * HATCHES
        for one, next_one in itertools.pairwise(marks):
            assert one.hue != next_one.hue
            assert one.hatch != next_one.hatch


def test_a_mark_needs_an_id() -> None:
    with pytest.raises(ValueError, match="counted from 1"):
        mark_of(0)

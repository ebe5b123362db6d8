"""Two writers of identity at once: merges, pools, loose pieces, tags."""

from __future__ import annotations

from functools import partial

import pytest

from nursery.donors.models import Genet
from nursery.lineage.models import Tag
from nursery.lineage.tags import tag_clash
from tests import factories as f
from tests.lineage.identities import (
    genets,
    identify,
    known_as,
    loose,
    merge,
    other_genet,
    relabel,
    retag,
    tags,
)
from tests.together import at_once, codes

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = 5


@pytest.fixture
def programme(transactional_db: None) -> f.Programme:
    """Committed, so that other connections see it."""
    return f.programme()


def test_merges_round_a_ring_at_once_leave_one_individual(programme: f.Programme) -> None:
    for _ in range(ROUNDS):
        a, b, c = (f.genet(programme.lead, programme.taxon) for _ in range(3))
        answers = at_once(
            [
                partial(merge, programme.lead, kept, merged)
                for kept, merged in ((a, b), (b, c), (c, a))
            ]
        )
        assert codes(answers) == ["merged_already"]
        assert len(set(known_as(a, b, c))) == 1


def test_a_pool_that_is_cut_while_its_genets_are_merged_is_of_the_one(
    programme: f.Programme,
) -> None:
    for _ in range(ROUNDS):
        kept, mother = other_genet(programme)
        merged, other = other_genet(programme)
        answers = at_once(
            [
                partial(merge, programme.lead, kept, merged),
                partial(f.cut, programme.lead, [mother, other]),
            ]
        )
        assert codes(answers) == []
        children = answers[1]
        assert isinstance(children, list)
        assert genets(*children) == [kept.code]


def test_one_piece_is_identified_by_one_of_two_writers(programme: f.Programme) -> None:
    for number in range(ROUNDS):
        ramets = programme.outplants(2)
        row = {"structure": programme.plate.code, "cell": f"C{number + 1}", "tag": f"T {number}"}
        piece = loose(programme, row)[0]
        answers = at_once(
            [
                partial(
                    identify,
                    programme.lead,
                    {"ramet": ramet.code, "found": piece.code, "structure": programme.tray.code},
                )
                for ramet in ramets
            ]
        )
        assert codes(answers) == ["not_living"]
        first, last = tags(f"T {number}")
        assert (first[0], last[2]) == (piece.code, None)


def test_a_freed_tag_goes_to_one_of_two_writers(programme: f.Programme) -> None:
    for number in range(ROUNDS):
        one, two, three = f.cut(
            programme.lead, programme.mothers(), children=[{"tag": f"T {number}"}, {}, {}]
        )
        retag(programme.lead, {"ramet": one.code, "off": f"T {number}"})
        answers = at_once(
            [
                partial(retag, programme.lead, {"ramet": ramet.code, "on": f"T {number}"})
                for ramet in (two, three)
            ]
        )
        assert codes(answers) == ["tag_taken"]
        assert tag_clash(list(Tag.objects.filter(text=f"T {number}"))) is None


def test_a_source_that_is_relabelled_while_its_genet_is_merged_settles_the_pool(
    programme: f.Programme,
) -> None:
    for _ in range(ROUNDS):
        kept, mother = other_genet(programme)
        _, other = other_genet(programme)
        merged = f.genet(programme.lead, programme.taxon)
        pooled = f.cut(programme.lead, [mother, other])[0]
        answers = at_once(
            [
                partial(merge, programme.lead, kept, merged),
                partial(relabel, programme.lead, [other], merged),
            ]
        )
        assert codes(answers) == []
        assert genets(pooled) == [kept.code]


def test_mothers_and_children_relabelled_at_once_do_not_wait_for_each_other(
    programme: f.Programme,
) -> None:
    for _ in range(ROUNDS):
        genet: Genet = f.genet(programme.lead, programme.taxon)
        mother = programme.mother()
        child = f.cut(programme.lead, [mother])[0]
        grandchild = f.cut(programme.lead, [child], when="2021-04-01")[0]
        answers = at_once(
            [
                partial(relabel, programme.lead, ramets, genet)
                for ramets in ([child], [grandchild, mother], [mother])
            ]
        )
        assert codes(answers) == []
        assert genets(mother, child, grandchild) == [genet.code] * 3

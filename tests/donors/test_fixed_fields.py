"""What ramets carry with them is not edited behind their back."""

from __future__ import annotations

import pytest

from nursery.core.actor import Actor
from nursery.core.errors import Refused
from nursery.core.registers import edit
from nursery.donors.actions import enter_colony
from nursery.donors.models import DonorColony
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def lead() -> Actor:
    return make.lead()


@pytest.fixture
def colony(lead: Actor) -> DonorColony:
    return make.colony(lead, make.taxon(lead), make.reef(lead))


def test_a_colony_that_was_collected_from_keeps_its_genet(lead: Actor, colony: DonorColony) -> None:
    make.collection(lead, colony)
    other = make.genet(lead, colony.taxon)
    with pytest.raises(Refused) as refused:
        enter_colony(lead, {"genet": other.code}, colony)
    assert [(p.code, p.path) for p in refused.value.problems] == [("fixed", ("genet",))]


def test_a_colony_nothing_was_taken_from_may_be_given_another_genet(
    lead: Actor, colony: DonorColony
) -> None:
    other = make.genet(lead, colony.taxon)
    assert enter_colony(lead, {"genet": other.code}, colony).genet == other


def test_a_genet_keeps_its_taxon(lead: Actor, colony: DonorColony) -> None:
    with pytest.raises(Refused) as refused:
        edit(lead, colony.genet, {"taxon": make.taxon(lead).code})
    assert refused.value.code == "fixed"

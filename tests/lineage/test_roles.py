"""Who may do what with ramets, and at which nurseries."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import pytest

from nursery.core.actor import Actor, Role
from nursery.core.errors import NotAllowed
from nursery.donors.models import Collection
from nursery.lineage.models import Ramet
from nursery.places.models import Nursery, Structure
from tests import factories as f
from tests.refusals import refused

ALLOWED = ""


@dataclass(frozen=True)
class Scene:
    """One of everything to act upon, and a second nursery with a tray."""

    programme: f.Programme
    other: Nursery
    other_tray: Structure
    mother: Ramet
    outplant: Ramet
    taken: Collection
    """One piece, still packed."""

    def actor(self, who: str) -> Actor:
        """nobody, viewer, field, staff (of the programme's nursery), stranger (of the other),
        lead, and reader: a lead with a token that only reads."""
        match who:
            case "nobody":
                return f.actor()
            case "staff":
                return f.staff(self.programme.nursery)
            case "stranger":
                return f.staff(self.other)
            case "reader":
                return f.actor(Role.LEAD, read_only=True)
            case _:
                return f.actor(Role(who))


pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def scene(standing: f.Programme) -> Scene:
    programme = standing
    other = f.nursery(programme.lead)
    return Scene(
        programme,
        other,
        f.tray(programme.lead, f.bay(programme.lead, other)),
        programme.mother(),
        programme.outplants()[0],
        f.collection(programme.lead, programme.colony),
    )


@contextmanager
def judged(code: str) -> Iterator[None]:
    """Allowed where the code is empty, else refused with it."""
    if code == ALLOWED:
        yield
    else:
        with refused(code, by=NotAllowed):
            yield


def matrix(**codes: str) -> pytest.MarkDecorator:
    """Every kind of person with what happens to them: not allowed unless it is said."""
    people = {
        "nobody": "no_role",
        "reader": "read_only",
        "viewer": "not_allowed",
        "field": "not_allowed",
        "staff": "not_allowed",
        "stranger": "not_allowed",
        "lead": ALLOWED,
        **codes,
    }
    return pytest.mark.parametrize(("who", "code"), list(people.items()))


@matrix(field=ALLOWED)
def test_who_collects(scene: Scene, who: str, code: str) -> None:
    actor = scene.actor(who)
    with judged(code):
        f.collection(actor, scene.programme.colony)


@matrix(field=ALLOWED, staff=ALLOWED, stranger="not_your_nursery")
def test_who_takes_in(scene: Scene, who: str, code: str) -> None:
    actor = scene.actor(who)
    with judged(code):
        f.intake(actor, scene.taken, scene.programme.nursery, scene.programme.tray)


@matrix(field="not_your_nursery", staff=ALLOWED, stranger="not_your_nursery")
def test_who_cuts_what_stands_in_a_nursery(scene: Scene, who: str, code: str) -> None:
    actor = scene.actor(who)
    with judged(code):
        f.cut(actor, [scene.mother])


@matrix(field="not_your_nursery", staff="not_your_nursery", stranger="not_your_nursery")
def test_who_cuts_from_one_nursery_into_another(scene: Scene, who: str, code: str) -> None:
    actor = scene.actor(who)
    with judged(code):
        f.cut(actor, [scene.mother], into=scene.other_tray)


@matrix(field=ALLOWED, staff=ALLOWED, stranger=ALLOWED)
def test_who_cuts_aboard(scene: Scene, who: str, code: str) -> None:
    actor = scene.actor(who)
    with judged(code):
        f.cut(actor, f.ramets_of(scene.taken), 2)


@matrix(field=ALLOWED)
def test_who_cuts_on_the_reef(scene: Scene, who: str, code: str) -> None:
    actor = scene.actor(who)
    with judged(code):
        f.cut(actor, [scene.outplant], when="2021-10-01")


@matrix(field="not_your_nursery", staff=ALLOWED, stranger="not_your_nursery")
def test_who_moves_what_stands_in_a_nursery(scene: Scene, who: str, code: str) -> None:
    actor = scene.actor(who)
    with judged(code):
        f.move(actor, [{"ramet": scene.mother.code}], structure=scene.programme.plate.code)


@matrix(field="not_your_nursery", staff=ALLOWED, stranger="not_your_nursery")
def test_who_packs_what_stands_in_a_nursery(scene: Scene, who: str, code: str) -> None:
    actor = scene.actor(who)
    with judged(code):
        f.move(actor, [{"ramet": scene.mother.code}], packed=True)


@matrix(field="not_your_nursery", staff="not_your_nursery", stranger="not_your_nursery")
def test_who_moves_from_one_nursery_into_another(scene: Scene, who: str, code: str) -> None:
    actor = scene.actor(who)
    with judged(code):
        f.move(actor, [{"ramet": scene.mother.code}], structure=scene.other_tray.code)


@matrix(field="not_your_nursery", staff="not_your_nursery", stranger="not_your_nursery")
def test_who_moves_into_a_structure_that_stands_nowhere(scene: Scene, who: str, code: str) -> None:
    actor = scene.actor(who)
    tray = f.tray(scene.programme.lead)
    with judged(code):
        f.move(actor, [{"ramet": scene.mother.code}], structure=tray.code)


@matrix(staff=ALLOWED, stranger="not_your_nursery")
def test_who_enters_stock(scene: Scene, who: str, code: str) -> None:
    actor = scene.actor(who)
    with judged(code):
        f.stock(actor, scene.programme.nursery, [{"taxon": scene.programme.taxon.code}])


@matrix(staff=ALLOWED, stranger="not_your_nursery")
def test_who_moves_structures_within_a_nursery(scene: Scene, who: str, code: str) -> None:
    actor = scene.actor(who)
    with judged(code):
        f.move_structures(
            actor,
            [{"structure": scene.programme.tray.code, "bay": scene.programme.bay.code}],
            when="2021-04-01",
        )


@matrix(staff="not_your_nursery", stranger="not_your_nursery")
def test_who_moves_structures_from_one_nursery_to_another(
    scene: Scene, who: str, code: str
) -> None:
    actor = scene.actor(who)
    with judged(code):
        f.move_structures(
            actor,
            [{"structure": scene.programme.plate.code, "parent": scene.other_tray.code}],
            when="2021-04-01",
        )


@matrix(staff=ALLOWED, stranger="not_your_nursery")
def test_who_sets_up_a_new_structure(scene: Scene, who: str, code: str) -> None:
    actor = scene.actor(who)
    tray = f.tray(scene.programme.lead)
    with judged(code):
        f.move_structures(actor, [{"structure": tray.code, "bay": scene.programme.bay.code}])


def both(scene: Scene) -> Actor:
    """Somebody who works at both nurseries."""
    one = f.staff(scene.programme.nursery)
    return Actor(
        one.user_id,
        one.name,
        one.roles,
        frozenset({scene.programme.nursery.pk, scene.other.pk}),
    )


def test_staff_of_both_nurseries_move_from_one_to_the_other(scene: Scene) -> None:
    f.move(both(scene), [{"ramet": scene.mother.code}], structure=scene.other_tray.code)
    assert Ramet.objects.get(pk=scene.mother.pk).structure == scene.other_tray


def test_staff_of_both_nurseries_move_structures_from_one_to_the_other(scene: Scene) -> None:
    f.move_structures(
        both(scene),
        [{"structure": scene.programme.plate.code, "parent": scene.other_tray.code}],
        when="2021-04-01",
    )
    assert Structure.objects.get(pk=scene.programme.plate.pk).nursery == scene.other


def test_staff_learn_nothing_of_a_nursery_that_is_not_registered(scene: Scene) -> None:
    stranger = f.staff(scene.other)
    with refused("not_your_nursery", by=NotAllowed):
        f.stock(
            stranger,
            scene.programme.nursery,
            [{"taxon": scene.programme.taxon.code}],
            nursery="NONE",
        )


@pytest.mark.parametrize(
    "act",
    [
        lambda scene, actor: f.collection(actor, colony="NONE", uid=str(scene.mother.born.uid)),
        lambda scene, actor: f.cut(actor, [scene.mother], uid=str(scene.mother.born.uid)),
        lambda scene, actor: f.move(
            actor, [{"ramet": "NONE"}], packed=True, uid=str(scene.mother.born.uid)
        ),
    ],
    ids=["collect", "cut", "move"],
)
def test_permission_comes_before_everything_else(
    scene: Scene, act: Callable[[Scene, Actor], object]
) -> None:
    viewer = f.viewer()
    with refused("not_allowed", by=NotAllowed):
        act(scene, viewer)

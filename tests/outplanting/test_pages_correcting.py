"""Correcting an entry by hand: what changes is shown first, then it is done, once."""

import re
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client

from nursery.core.actor import Role
from nursery.core.inputs import read as read_input
from nursery.core.models import Correction, Event, Mend, User
from nursery.lineage.models import Ramet
from nursery.outplanting.actions.correct import amend, void
from nursery.outplanting.corrections import AmendIn, VoidIn
from tests import factories as make
from tests.factories import Programme
from tests.lineage.identities import other_genet, relabel
from tests.outplanting.reef import lift
from tests.pages import cost, main_of, read, reader, words_of
from tests.refusals import everything_stored

pytestmark = pytest.mark.django_db

REASON = "written down <twice>"


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.LEAD)


def page_of(event: Event, act: str = "") -> str:
    return f"/events/{event.uid}/{act}/" if act else f"/events/{event.uid}/"


def hidden(answer: HttpResponse) -> dict[str, str]:
    """What a form sends without anybody typing it."""
    html = answer.content.decode()
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', html)
    return {name: value.replace("&lt;", "<").replace("&gt;", ">") for name, value in found}


def look(client: Client, event: Event, act: str, /, **typed: str) -> HttpResponse:
    """Open the form, fill it in and press the button that shows what it changes."""
    form = client.get(page_of(event, act))
    assert form.status_code == 200, words_of(form)
    given = {**hidden(form), "reason": REASON, "step": "look", **typed}
    return client.post(page_of(event, act), given)


def do(client: Client, event: Event, act: str, shown: HttpResponse) -> HttpResponse:
    """Press the button that confirms what was shown."""
    return client.post(page_of(event, act), {**hidden(shown), "step": "do"})


def correct(client: Client, event: Event, act: str, /, **typed: str) -> HttpResponse:
    shown = look(client, event, act, **typed)
    assert shown.status_code == 200, words_of(shown)
    answer = do(client, event, act, shown)
    assert answer.status_code == 302, words_of(answer)
    assert answer["Location"] == page_of(event)
    return answer


def test_a_void_is_shown_first_and_then_done(programme: Programme, client: Client) -> None:
    children = make.cut(programme.lead, [programme.mother()], 60, into=programme.plate)
    event = children[0].born
    before = everything_stored()
    shown = look(client, event, "void")
    said = words_of(shown)
    assert "60 ramets would be otherwise: the state of 60 and the place of 60." in said
    assert "Nothing is stored yet." in said
    assert "living never was" in said
    assert children[49].code in said
    assert children[50].code not in said
    assert "And 10 ramets more." in said
    assert f"Reason: {REASON}" in said
    assert everything_stored() == before
    assert do(client, event, "void", shown).status_code == 302
    told = read(client, page_of(event))
    assert "Void: this did not happen." in told
    assert "Voided. Nothing was deleted" in told
    assert f"“{REASON}”" in told
    assert not Ramet.objects.filter(born=event).exists()


def test_a_void_entry_shows_its_rows_struck_and_can_be_restored(
    programme: Programme, client: Client
) -> None:
    (child,) = make.cut(programme.lead, [programme.mother()], into=programme.plate)
    correct(client, child.born, "void")
    html = main_of(client, page_of(child.born))
    assert '<div class="void">' in html
    assert child.code in html
    assert "void: none of this happened" in html
    assert "It did happen after all" in html
    assert page_of(child.born, "void") not in html
    correct(client, child.born, "restore")
    told = read(client, page_of(child.born))
    assert "Restored: it did happen." in told
    assert "Void: this" not in told
    assert Ramet.objects.get(pk=child.pk).living


def test_what_is_in_the_way_is_named_and_can_be_voided_together(
    programme: Programme, client: Client
) -> None:
    (child,) = make.cut(programme.lead, [programme.mother()], into=programme.plate)
    planting = make.planting(programme.lead, programme.plot, [child])
    blocked = look(client, child.born, "void")
    said, html = words_of(blocked), blocked.content.decode()
    assert blocked.status_code == 400
    assert "behind_later_entry" in said
    assert "1 March 2021" in said
    assert "1 June 2021" in said
    assert f'href="{page_of(planting.event)}"' in html
    assert "written down &lt;twice&gt;</textarea>" in html
    before = everything_stored()
    shown = look(client, child.born, "void", together="yes")
    told = words_of(shown)
    assert told.index("Outplanting, 1 June 2021") < told.rindex("Fragmentation, 1 March 2021")
    assert everything_stored() == before
    assert do(client, child.born, "void", shown).status_code == 302
    assert not Event.objects.filter(pk__in=[child.born_id, planting.event_id], live=True).exists()
    assert "Together with outplanting 1 June 2021" in read(client, page_of(child.born))


def test_a_confirmation_that_is_sent_twice_corrects_once(
    programme: Programme, client: Client
) -> None:
    event = make.collection(programme.lead, programme.colony).event
    shown = look(client, event, "void")
    assert do(client, event, "void", shown).status_code == 302
    assert do(client, event, "void", shown).status_code == 302
    assert Correction.objects.filter(event=event).count() == 1


def test_only_what_was_shown_is_done(programme: Programme, client: Client) -> None:
    """What else came into the record meanwhile is shown first."""
    (child,) = make.cut(programme.lead, [programme.mother()], into=programme.plate)
    make.planting(programme.lead, programme.plot, [child])
    shown = look(client, child.born, "void", together="yes")
    make.visit(programme.lead, programme.site, {child: "alive"})
    answer = do(client, child.born, "void", shown)
    assert answer.status_code == 200
    assert "the record has changed" in words_of(answer)
    assert "Visit, 1 September 2021" in words_of(answer)
    assert Event.objects.get(pk=child.born_id).live
    assert do(client, child.born, "void", answer).status_code == 302


def test_a_form_from_before_another_correction_is_not_done_blindly(
    programme: Programme, client: Client
) -> None:
    event = make.collection(programme.lead, programme.colony, note="calm").event
    form = hidden(client.get(page_of(event, "amend")))
    given = {"event": str(event.uid), "reason": "x", "note": "rough"}
    amend(programme.lead, read_input(AmendIn, given))
    typed = {**form, "reason": REASON, "done_by": "Ana Reyes", "note": "calm", "step": "look"}
    answer = client.post(page_of(event, "amend"), typed)
    assert answer.status_code == 400
    assert "corrected_meanwhile" in words_of(answer)
    assert 'value="Ana Reyes"' in answer.content.decode()


def test_an_amendment_has_what_stands_now_in_its_blanks(
    programme: Programme, client: Client
) -> None:
    permit = make.permit(programme.lead).code
    row = make.collection(
        programme.lead,
        programme.colony,
        done_by=["Ana Reyes", "Teo Marsh"],
        permits=[permit],
        note="calm",
    )
    html = main_of(client, page_of(row.event, "amend"))
    for value in ("2021-01-10", "Ana Reyes; Teo Marsh", permit, programme.colony.code):
        assert f'value="{value}"' in html
    assert "calm</textarea>" in html
    assert 'name="plot"' not in html
    assert 'name="genet"' not in html


def test_an_amendment_tells_before_and_after_and_is_undone(
    programme: Programme, client: Client
) -> None:
    other, _ = other_genet(programme)
    colony = other.colonies.get()
    row = make.collection(programme.lead, programme.colony, count=3)
    shown = look(client, row.event, "amend", colony=colony.code, when="2021-01-12")
    said = words_of(shown)
    assert "3 ramets would be otherwise: the genet of 3 and the donor colonies of 3." in said
    assert f"{programme.colony.genet.code} {other.code}" in said
    assert do(client, row.event, "amend", shown).status_code == 302
    told = read(client, page_of(row.event))
    assert "Collection, 12 January 2021" in told
    assert re.search(r"When 10 January 2021 → ?became 12 January 2021", told)
    assert re.search(rf"Colony {programme.colony.code} → ?became {colony.code}", told)
    assert page_of(row.event, "undo-amendment") in main_of(client, page_of(row.event))
    correct(client, row.event, "undo-amendment")
    assert "Collection, 10 January 2021" in read(client, page_of(row.event))
    assert Correction.objects.filter(event=row.event, mend=Mend.AMENDED).count() == 2


def test_another_mother_is_named_beside_the_one_that_the_entry_names(
    programme: Programme, client: Client
) -> None:
    first, second = programme.mothers(2)
    (child,) = make.cut(programme.lead, [first])
    form = main_of(client, page_of(child.born, "amend"))
    assert f"Cut from {first.code}" in form
    wrong = look(client, child.born, "amend", **{"mother-0": "NOSUCH"})
    assert wrong.status_code == 400
    assert "unknown_ramet" in words_of(wrong)
    assert 'value="NOSUCH"' in wrong.content.decode()
    typed = {"mother-0": second.code.lower(), "used-up-0": "on"}
    correct(client, child.born, "amend", **typed)
    told = read(client, page_of(child.born))
    assert re.search(rf"Sources {first.code} → ?became {second.code} \(used up\)", told), told
    assert Ramet.objects.get(pk=second.pk).get_life_display() == "used up"


def test_a_relabelling_is_amended_to_a_genet_that_is_not_known(
    programme: Programme, client: Client
) -> None:
    other, _ = other_genet(programme)
    mother = programme.mother()
    event = relabel(programme.lead, [mother], other)
    correct(client, event, "amend", genet="")
    told = read(client, page_of(event))
    assert "Turned out to be of a genet that is not known" in told
    assert re.search(rf"Genet {other.code} → ?became not known", told)


def test_what_an_amendment_may_not_say_stands_beside_its_blank(
    programme: Programme, client: Client
) -> None:
    event = make.collection(programme.lead, programme.colony).event
    before = everything_stored()
    answer = look(client, event, "amend", when="soon", reason=" ", note="kept")
    said, html = words_of(answer), answer.content.decode()
    assert answer.status_code == 400
    assert "2 things are in the way." in said
    assert 'value="soon"' in html
    assert "kept</textarea>" in html
    nothing = look(client, event, "amend")
    assert "nothing_amended" in words_of(nothing)
    assert everything_stored() == before


def test_an_amendment_that_cannot_stand_names_what_is_in_the_way(
    programme: Programme, client: Client
) -> None:
    (child,) = make.cut(programme.lead, [programme.mother()])
    planting = make.planting(programme.lead, programme.plot, [child])
    answer = look(client, child.born, "amend", when="2021-08-01")
    assert answer.status_code == 400
    assert f'href="{page_of(planting.event)}"' in answer.content.decode()
    assert "voiding them together" not in words_of(answer)


def test_one_goes_back_to_the_form_with_what_was_typed(
    programme: Programme, client: Client
) -> None:
    event = make.collection(programme.lead, programme.colony).event
    shown = look(client, event, "amend", note="a long note")
    back = client.post(page_of(event, "amend"), {**hidden(shown), "step": "change"})
    assert "a long note</textarea>" in back.content.decode()
    assert not Correction.objects.exists()


@pytest.mark.parametrize("act", ["void", "amend", "restore", "undo-amendment"])
def test_only_those_who_may_are_shown_the_forms(programme: Programme, act: str) -> None:
    event = make.collection(programme.lead, programme.colony).event
    for role in (Role.VIEWER, Role.FIELD):
        client = reader(role)
        assert page_of(event, act) not in main_of(client, page_of(event))
        read(client, page_of(event, act), 403)
        assert client.post(page_of(event, act), {"reason": "x", "step": "do"}).status_code == 403
    assert not Correction.objects.exists()


def test_field_staff_correct_what_they_entered_themselves(programme: Programme) -> None:
    by = make.field()
    event = make.collection(by, programme.colony).event
    client = Client()
    client.force_login(User.objects.get(pk=by.user_id))
    assert page_of(event, "void") in main_of(client, page_of(event))
    correct(client, event, "void")
    assert not Event.objects.get(pk=event.pk).live


def test_an_entry_of_somebody_else_in_the_way_is_not_voided_along(programme: Programme) -> None:
    by = make.field()
    row = make.collection(by, programme.colony)
    make.intake(programme.lead, row, programme.nursery, programme.tray)
    client = Client()
    client.force_login(User.objects.get(pk=by.user_id))
    answer = look(client, row.event, "void", together="yes")
    assert answer.status_code == 403
    assert "not_yours" in words_of(answer)
    assert "written down &lt;twice&gt;" in answer.content.decode()


@pytest.mark.parametrize(
    ("act", "code"),
    [("restore", "not_voided"), ("undo-amendment", "not_amended")],
)
def test_a_correction_that_there_is_nothing_to_is_refused(
    programme: Programme, client: Client, act: str, code: str
) -> None:
    event = make.collection(programme.lead, programme.colony).event
    assert code in read(client, page_of(event, act), 400)


def test_a_void_entry_is_neither_voided_nor_amended(programme: Programme, client: Client) -> None:
    event = make.collection(programme.lead, programme.colony).event
    void(programme.lead, VoidIn(event=event.uid, reason="x"))
    for act in ("void", "amend"):
        assert "voided_already" in read(client, page_of(event, act), 400)


def test_an_entry_that_there_is_not_is_not_found(client: Client) -> None:
    assert "unknown_event" in read(client, "/events/nothing/void/", 404)


def test_a_correction_is_not_taken_from_another_site(programme: Programme) -> None:
    event = make.collection(programme.lead, programme.colony).event
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(make.person(Role.LEAD))
    answer = strict.post(page_of(event, "void"), {"reason": "x", "step": "do", "after": "0"})
    assert answer.status_code == 403
    assert Event.objects.get(pk=event.pk).live


def test_void_entries_are_in_no_list_but_that_of_all(programme: Programme, client: Client) -> None:
    (child,) = make.cut(programme.lead, [programme.mother()])
    make.planting(programme.lead, programme.plot, [child])
    visit = make.visit(programme.lead, programme.site, {child: "alive"})
    event = child.born
    void(programme.lead, VoidIn(event=visit.event.uid, reason="x"))
    void(programme.lead, VoidIn(event=event.uid, reason="x", together=True))
    for page, names in (
        ("visits", "visits"),
        ("outplantings", "outplantings"),
        ("fragmentations", "cuttings"),
    ):
        assert f"0 {names} in the record." in read(client, f"/{page}/")
        void_ones = main_of(client, f"/{page}/?live=false")
        assert "(void)" in void_ones
    assert "1 collection in the record." in read(client, "/collections/")
    html = main_of(client, "/events/")
    assert html.count("(void)</span>") == 3
    assert "<s>visit</s>" in html


def test_a_lifted_outplant_is_no_longer_said_to_be_there(
    programme: Programme, client: Client
) -> None:
    (child,) = programme.outplants()
    event = lift(programme.lead, [child], programme.tray)
    assert programme.tray.code in read(client, page_of(event))
    assert f"{programme.tray.code} at" in read(client, f"/plots/{programme.plot.code}/")


def test_corrections_of_an_entry_cost_a_fixed_number_of_queries(
    programme: Programme, client: Client
) -> None:
    event = make.collection(programme.lead, programme.colony).event

    def note(text: str) -> None:
        values: dict[str, Any] = {"event": str(event.uid), "reason": "x", "note": text}
        amend(programme.lead, read_input(AmendIn, values))

    note("one")
    few = cost(client, page_of(event))
    for number in range(5):
        note(f"again {number}")
    assert few == cost(client, page_of(event)) == 12
    assert cost(client, page_of(event, "amend")) == 8

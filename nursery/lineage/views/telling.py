"""What a step says, in words; and what the page of one ramet tells besides: labels, tags, bases."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.core.dates import When
from nursery.core.models import Event
from nursery.core.phrases import in_words, joined, link, on, ramet_link, tag
from nursery.core.spoken import shown
from nursery.donors.models import Genet
from nursery.lineage.models import Identification, Ramet, Relabelling, Step, Tag
from nursery.lineage.words import Cause, Life, What

BY_COUNT = {
    What.COUNTED_DEAD: gettext_lazy("dead, by count"),
    What.COUNTED_MISSING: gettext_lazy("missing, by count"),
}
_PLAIN = {
    What.FOUND: gettext_lazy("found again"),
    What.REBASED: gettext_lazy("given another base"),
    What.TAGGED: gettext_lazy("tagged or untagged"),
    What.SAMPLED: gettext_lazy("tissue taken"),
}


def what_words(what: int, life: int | None, cause: int | None) -> str:
    """What a step says: `ended: sampled`, `dead, by count`, `seen dead (storm)`."""
    word = What(what)
    text = str(BY_COUNT.get(word) or _PLAIN.get(word) or shown(word))
    if word is What.ENDED and life is not None:
        text = f"{text}: {shown(Life(life))}"
    return f"{text}{cause_words(Cause(cause) if cause is not None else None)}"


def cause_words(cause: Cause | None) -> str:
    """A cause of death in brackets, where one is known."""
    return f" ({shown(cause)})" if cause is not None and cause is not Cause.UNKNOWN else ""


@dataclass(frozen=True, slots=True)
class Label:
    """One relabelling of a ramet: what it is since then, and what it was before."""

    uid: str
    when: When
    genet: Genet | None
    before: Genet | None
    unknown_before: bool
    own: bool
    """Whether what it was before came with its cuttings (else by an earlier relabelling)."""


def labels_of(codes: Sequence[str]) -> dict[str, list[Label]]:
    """The relabellings of these ramets by their codes, in their order. Two queries."""
    steps = (
        Step.objects.filter(ramet__code__in=codes, what=What.RELABELLED, live=True)
        .select_related(
            "event",
            "ramet__entered_genet__canonical",
            "ramet__fragmentation__genet__canonical",
        )
        .order_by("ramet_id", "order")
    )
    rows = list(steps)
    events = {step.event_id for step in rows}
    genets = {
        row.event_id: row.genet
        for row in Relabelling.objects.filter(event__in=events).select_related("genet__canonical")
    }
    found: dict[str, list[Label]] = defaultdict(list)
    for step in rows:
        ramet = step.ramet
        mine = found[ramet.code]
        if mine:
            before, own = mine[-1].genet, False
        else:
            cut = ramet.fragmentation
            before, own = (cut.genet if cut is not None else ramet.entered_genet), True
        mine.append(
            Label(
                str(step.event.uid),
                step.event.when,
                genets.get(step.event_id),
                before,
                before is None,
                own,
            )
        )
    return dict(found)


def label_sentence(label: Label) -> SafeString:
    """A relabelling in one sentence, with what it said before."""
    return format_html(
        _("Relabelled as {genet} {when}; before, by its cuttings, {before}.")
        if label.own
        else _("Relabelled as {genet} {when}; before, by the relabelling before, {before}."),
        genet=genet_words(label.genet),
        when=link(on(label.when), "event", label.uid),
        before=genet_words(label.before),
    )


def genet_words(genet: Genet | None) -> SafeString | str:
    """A genet by its code; a merged one with the one that it is known as."""
    if genet is None:
        return _("of a genet that is not known")
    own = link(genet.code, "genet", genet.code)
    if genet.canonical is None:
        return own
    known = genet.canonical.code
    return format_html(
        _("{genet} (known as {known})"), genet=own, known=link(known, "genet", known)
    )


def identified(codes: Sequence[str]) -> dict[str, SafeString]:
    """Of found pieces that turned out to be known ramets: which, by their codes."""
    rows = Identification.objects.filter(event__live=True, found__code__in=codes)
    return {
        each.found.code: format_html(
            _("{piece} was found loose, and identified {when} as {ramet}: its way goes on there."),
            piece=tag(each.found.code),
            when=link(on(each.event.when), "event", each.event.uid),
            ramet=ramet_link(each.ramet.code),
        )
        for each in rows.select_related("event", "ramet", "found")
        if each.found is not None
    }


def identity_sentences(row: Ramet) -> Iterator[SafeString]:
    """That a found piece is a known ramet, or that a known one was found again."""
    mine = Identification.objects.filter(event__live=True).select_related("event", "ramet", "found")
    for each in mine.filter(found=row).order_by("event__moment", "event_id"):
        yield format_html(
            _("This found piece is {ramet}: identified {when}."),
            ramet=ramet_link(each.ramet.code),
            when=link(on(each.event.when), "event", each.event.uid),
        )
    for each in mine.filter(ramet=row).order_by("event__moment", "event_id"):
        when = link(on(each.event.when), "event", each.event.uid)
        if each.found is not None:
            yield format_html(
                _("Found again as {piece} {when}."), piece=ramet_link(each.found.code), when=when
            )
        else:
            yield format_html(_("Found again {when}."), when=when)


@dataclass(frozen=True, slots=True)
class Tags:
    """The tags of a ramet, each in a sentence; and what each entry did to them, by its uid."""

    sentences: Sequence[SafeString]
    by_entry: Mapping[str, str]


def tags_of(row: Ramet) -> Tags:
    """Its tags with their dates: on, taken off, lost; and who has them now. Two queries."""
    tags = list(
        Tag.objects.filter(ramet=row, live=True)
        .select_related("event", "ended_by")
        .order_by("since", "pk")
    )
    now = {
        other.text: other.ramet.code
        for other in Tag.objects.filter(
            text__in={each.text for each in tags if each.until is not None},
            live=True,
            until__isnull=True,
        )
        .exclude(ramet=row)
        .select_related("ramet")
    }
    acts: dict[str, list[str]] = defaultdict(list)
    for each in tags:
        if each.ended_by is not None:
            acts[str(each.ended_by.uid)].append(_off_words(each))
    for each in tags:
        if each.event is not None:
            acts[str(each.event.uid)].append(_("tag %(tag)s put on") % {"tag": each.text})
    return Tags(
        [_tag_sentence(each, now.get(each.text)) for each in tags],
        {uid: ", ".join(said) for uid, said in acts.items()},
    )


def former_tags(codes: Sequence[str]) -> set[tuple[str, str]]:
    """Which tags are no longer on which of these ramets: (code, text)."""
    rows = Tag.objects.filter(ramet__code__in=codes, live=True, until__isnull=False)
    still = Tag.objects.filter(ramet__code__in=codes, live=True, until__isnull=True)
    pairs = set(rows.values_list("ramet__code", "text"))
    return pairs - set(still.values_list("ramet__code", "text")) if pairs else pairs


def _off(row: Tag) -> str:
    return _("lost") if row.lost else _("taken off")


def _off_words(row: Tag) -> str:
    if row.lost:
        return _("tag %(tag)s lost") % {"tag": row.text}
    return _("tag %(tag)s taken off") % {"tag": row.text}


def _tag_sentence(row: Tag, holder: str | None) -> SafeString:
    since = _by(in_words(row.since), row.event)
    parts = [format_html(_("{tag} since {day}"), tag=tag(row.text), day=since)]
    if row.until is not None:
        parts.append(format_html("{} {}", _off(row), _by(in_words(row.until), row.ended_by)))
        if holder is not None:
            parts.append(format_html(_("now on {ramet}"), ramet=ramet_link(holder)))
    return joined(parts)


def _by(text: str | SafeString, event: Event | None) -> SafeString | str:
    return link(text, "event", event.uid) if event is not None else text


def bases_of(row: Ramet) -> dict[str, str]:
    """The bases that it was given, by the uids of the entries."""
    steps = Step.objects.filter(ramet=row, live=True, base__isnull=False)
    return {
        str(uid): base or _("a base without a name")
        for uid, base in steps.values_list("event__uid", "base")
    }

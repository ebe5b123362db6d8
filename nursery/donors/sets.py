"""Donor sets: equal sets of colonies are one row, so that a ramet carries one number."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from django.db import IntegrityError, transaction

from nursery.core import bulk
from nursery.donors.models import DonorSet, DonorSetMember

LONGEST_KEY = 400


def key_of(colony_ids: Iterable[int]) -> str:
    """The ids in ascending order, or their SHA-256 where that would be too long for an index."""
    text = ",".join(str(pk) for pk in sorted(set(colony_ids)))
    if len(text) <= LONGEST_KEY:
        return text
    return "sha256:" + hashlib.sha256(text.encode()).hexdigest()


def donor_set(colony_ids: Iterable[int]) -> DonorSet | None:
    """The set of exactly these colonies, made if it is new; None for no colony at all."""
    ids = sorted(set(colony_ids))
    if not ids:
        return None
    key = key_of(ids)
    known = DonorSet.objects.filter(key=key).first()
    if known is not None:
        return known
    try:
        with transaction.atomic():
            made = DonorSet.objects.create(key=key)
            bulk.insert(
                DonorSetMember, [DonorSetMember(donor_set=made, colony_id=pk) for pk in ids]
            )
            return made
    except IntegrityError:
        # Another writer made the same set meanwhile.
        return DonorSet.objects.get(key=key)


def union(set_ids: Iterable[int]) -> DonorSet | None:
    """The set that holds the colonies of all these sets; None where there are none."""
    ids = set(set_ids)
    if len(ids) == 1:
        return DonorSet.objects.get(pk=ids.pop())
    members = DonorSetMember.objects.filter(donor_set_id__in=ids)
    return donor_set(members.values_list("colony_id", flat=True))

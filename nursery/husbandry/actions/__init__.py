"""What can happen while ramets grow in a nursery."""

from nursery.husbandry.actions.check import check

__all__ = ["check"]

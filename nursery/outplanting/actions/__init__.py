"""What can happen on the reef: planting, lifting, and looking again."""

from nursery.outplanting.actions.lift import lift
from nursery.outplanting.actions.plant import plant
from nursery.outplanting.actions.visit import visit

__all__ = ["lift", "plant", "visit"]

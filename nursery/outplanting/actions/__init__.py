"""What can happen on the reef: planting, and looking again."""

from nursery.outplanting.actions.plant import plant
from nursery.outplanting.actions.visit import visit

__all__ = ["plant", "visit"]

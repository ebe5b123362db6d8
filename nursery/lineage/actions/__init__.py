"""What can happen to ramets. Each act checks, writes and returns the event, all or nothing."""

from nursery.lineage.actions.collect import collect
from nursery.lineage.actions.cut import cut
from nursery.lineage.actions.intake import take_in
from nursery.lineage.actions.move import move
from nursery.lineage.actions.stock import enter_stock
from nursery.lineage.actions.structures import edit_structure, move_structures

__all__ = ["collect", "cut", "edit_structure", "enter_stock", "move", "move_structures", "take_in"]

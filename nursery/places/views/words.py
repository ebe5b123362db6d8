"""Words that the scripts of plates put on the screen, in the reader's language.

A script fills in what stands in braces.
"""

from __future__ import annotations

from django.utils.translation import gettext as _


def words_for_scripts() -> dict[str, str]:
    """Each sentence by its name in the scripts."""
    return {
        "cells": _("{n} cells"),
        "cell": _("1 cell"),
        "with_ramets": _("{n} with ramets"),
        "free": _("free"),
        "blocked": _("blocked"),
        "no_genet": _("genet not known"),
        "days": _("{n} days"),
        "weeks": _("{n} weeks"),
        "day_short": _("{n}d"),
        "week_short": _("{n}w"),
        "was": _("{state} now"),
        "not_here": _("{cell} is not on this plate."),
        "not_cells": _("{text} names no cells. Write A1, A1:C4, or both with commas between."),
        "go_attached": _("Mark {n} attached"),
        "go_loose": _("Mark {n} loose"),
        "go_dead": _("Mark {n} dead"),
        "go_missing": _("Mark {n} missing"),
        "go_end": _("End {n}"),
        "go_move": _("Move {n}"),
        "go_place": _("Place {n}"),
        "go_cut": _("Cut {n}"),
        "go_cut_from": _("Cut {n} from {mother}"),
        "and_rest": _("{go}, {n} attached"),
        "other_rest": _("the other {n} are attached"),
        "goes_to": _("{n} of {m} find a free cell in {code}."),
        "open_structure": _("{code} has no cells: all {m} go into it."),
        "not_found": _("The answer did not come. Try again, or go on without the preview."),
        "scanned": _("{code} goes into {cell}."),
        "scanned_already": _("{code} was scanned already."),
        "not_living": _("{code} does not live: {life}."),
        "no_cell_left": _("No free cell is left for {code}. Pick more cells."),
        "of_cells": _("{n} of {m} free cells filled"),
        "pooled": _(
            "Pooled: mothers of {n} genets. The pieces will have no genet, only candidates, and "
            "count for no diversity until they are genotyped."
        ),
        "taxa": _("These are of several taxa: {taxa}. Cut each taxon by itself."),
        "mixed": _("{code} holds {taxa} already: the plate would hold several taxa."),
        "known": _("{code} · {genet} · {where}"),
        "fills": _("{n} of {m} free cells of {code} are filled: {first} to {last}."),
        "too_many": _("{code} has only {m} free cells."),
    }

"""Where things are: reefs, nurseries with their water, structures, and sites to plant on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar
from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from nursery.core.actor import Role
from nursery.core.errors import Problem, Refused
from nursery.core.models import CodeSeries, Event, Register, unique_code
from nursery.places.cells import Cell, CellError, Grid, expand, parse_cell

_LATITUDE = [MinValueValidator(-90), MaxValueValidator(90)]
_LONGITUDE = [MinValueValidator(-180), MaxValueValidator(180)]


class Located(Register):
    """A register row with a public position in WGS 84, decimal degrees."""

    name = models.CharField(max_length=120)
    latitude = models.DecimalField(
        max_digits=9, decimal_places=6, null=True, blank=True, validators=_LATITUDE
    )
    longitude = models.DecimalField(
        max_digits=9, decimal_places=6, null=True, blank=True, validators=_LONGITUDE
    )

    class Meta(Register.Meta):
        abstract = True

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class Reef(Located):
    """A reef that colonies stand on. Its position is public and as coarse as a chart's."""

    ACT = "change reefs"

    class Meta(Located.Meta):
        constraints: ClassVar = [unique_code("places_reef")]


class Nursery(Located):
    """A place where ramets are grown; staff are given their role at one."""

    ACT = "change nurseries"

    class Kind(models.TextChoices):
        LAND = "land", _("on land")
        SEA = "sea", _("in the sea")

    kind = models.CharField(max_length=4, choices=Kind.choices)
    timezone = models.CharField(max_length=60, default="UTC")
    series = models.ForeignKey(
        CodeSeries,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        editable=False,
        help_text=_("the series that codes of ramets cut here come from"),
    )

    class Meta(Located.Meta):
        verbose_name_plural = "nurseries"
        constraints: ClassVar = [unique_code("places_nursery")]

    def clean(self) -> None:
        if self.timezone not in available_timezones():
            raise ValidationError(
                {"timezone": f"{self.timezone} is no time zone, for example Pacific/Palau."}
            )


class System(Register):
    """One body of shared water."""

    ACT = "change systems"

    name = models.CharField(max_length=120)
    nursery = models.ForeignKey(Nursery, on_delete=models.PROTECT, related_name="systems")

    class Meta(Register.Meta):
        constraints: ClassVar = [unique_code("places_system")]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    def clean(self) -> None:
        stored = System.objects.filter(pk=self.pk).first() if self.pk else None
        if stored is None or stored.nursery_id == self.nursery_id:
            return
        if any(bay.referred_to() for bay in stored.bays.all()):
            raise ValidationError({"nursery": _fixed("Structures have stood in this system")})


class Bay(Register):
    """A tank, raceway or sea-bed block in a system."""

    ACT = "change bays"

    class Kind(models.TextChoices):
        TANK = "tank", _("tank")
        RACEWAY = "raceway", _("raceway")
        BLOCK = "block", _("sea-bed block")

    name = models.CharField(max_length=120, blank=True)
    system = models.ForeignKey(System, on_delete=models.PROTECT, related_name="bays")
    kind = models.CharField(max_length=8, choices=Kind.choices, default=Kind.TANK)

    class Meta(Register.Meta):
        constraints: ClassVar = [unique_code("places_bay")]

    def __str__(self) -> str:
        return f"{self.code} {self.name}".strip()

    def clean(self) -> None:
        stored = Bay.objects.filter(pk=self.pk).first() if self.pk else None
        if stored is not None and stored.system_id != self.system_id and stored.referred_to():
            raise ValidationError({"system": _fixed("Structures have stood in this bay")})


def _fixed(why: str) -> ValidationError:
    return ValidationError(f"{why} as it is. Close it, and enter another.", code="fixed")


def _is_polygon(value: Any) -> bool:
    """Whether it is a polygon in WGS 84 and nothing else (RFC 7946, 3.1.6)."""
    if not isinstance(value, dict) or value.keys() != {"type", "coordinates"}:
        return False
    rings = value["coordinates"]
    return value["type"] == "Polygon" and _list_of(rings, 1) and all(map(_is_ring, rings))


def _is_ring(value: Any) -> bool:
    return _list_of(value, 4) and value[0] == value[-1] and all(map(_is_position, value))


def _is_position(value: Any) -> bool:
    return (
        _list_of(value, 2)
        and len(value) <= 3
        and all(isinstance(n, int | float) and not isinstance(n, bool) for n in value)
        and abs(value[0]) <= 180
        and abs(value[1]) <= 90
    )


def _list_of(value: Any, least: int) -> bool:
    return isinstance(value, list) and len(value) >= least


class Site(Located):
    """A place on a reef where ramets are planted, in plots."""

    ACT = "change outplant sites"

    reef = models.ForeignKey(
        Reef, on_delete=models.PROTECT, null=True, blank=True, related_name="sites"
    )
    outline = models.JSONField(
        null=True, blank=True, help_text=_("GeoJSON polygon (RFC 7946), longitude first")
    )

    class Meta(Located.Meta):
        constraints: ClassVar = [unique_code("places_site")]

    def clean(self) -> None:
        if self.outline is not None and not _is_polygon(self.outline):
            raise ValidationError(
                {
                    "outline": "An outline is a GeoJSON polygon: closed rings of four positions or "
                    "more, longitude first."
                }
            )


class Plot(Register):
    """A marked piece of a site. Its code is its own in the whole programme."""

    ACT = "change plots"

    name = models.CharField(max_length=120, blank=True)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="plots")
    depth_m = models.DecimalField(
        max_digits=5,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
        help_text=_("metres below the surface"),
    )
    area_m2 = models.DecimalField(
        max_digits=8, decimal_places=1, null=True, blank=True, validators=[MinValueValidator(0)]
    )

    class Meta(Register.Meta):
        constraints: ClassVar = [unique_code("places_plot")]

    def __str__(self) -> str:
        return f"{self.code} {self.name}".strip()

    def clean(self) -> None:
        stored = Plot.objects.filter(pk=self.pk).first() if self.pk else None
        if stored is not None and stored.site_id != self.site_id and stored.referred_to():
            raise ValidationError({"site": _fixed("This plot is on record")})


class Structure(Register):
    """What holds ramets: a grid of cells, or open (no rows and columns, so no positions).

    Where it stands (bay, or a cell of another structure, or a plot, and the nursery that follows
    from it) is a cache of its live steps.
    """

    WRITERS = frozenset({Role.NURSERY})
    CACHES = frozenset(
        {
            *("nursery", "bay", "parent", "parent_row", "parent_column", "plot"),
            *("lost", "busy_until"),
        }
    )
    ACT = "set up structures"

    class Kind(models.TextChoices):
        PLATE = "plate", _("plate")
        TRAY = "tray", _("tray")
        TABLE = "table", _("table")
        TREE = "tree", _("tree")
        ROPE = "rope", _("rope")
        FRAME = "frame", _("frame")
        ROCK = "rock", _("rock with sockets")

    name = models.CharField(max_length=120, blank=True)
    kind = models.CharField(max_length=6, choices=Kind.choices)
    rows = models.PositiveSmallIntegerField(null=True, blank=True)
    columns = models.PositiveSmallIntegerField(null=True, blank=True)
    blocked = models.JSONField(
        default=list, blank=True, help_text=_("names of cells that hold nothing")
    )

    nursery = models.ForeignKey(
        Nursery, on_delete=models.PROTECT, null=True, editable=False, related_name="structures"
    )
    bay = models.ForeignKey(
        Bay, on_delete=models.PROTECT, null=True, editable=False, related_name="structures"
    )
    parent = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, editable=False, related_name="held"
    )
    parent_row = models.PositiveSmallIntegerField(null=True, editable=False)
    parent_column = models.PositiveSmallIntegerField(null=True, editable=False)
    plot = models.ForeignKey(
        Plot, on_delete=models.PROTECT, null=True, editable=False, related_name="structures"
    )
    lost = models.BooleanField(default=False, editable=False)
    busy_until = models.DateTimeField(
        null=True,
        editable=False,
        help_text=_("the moment of the last entry that filled or emptied one of its cells"),
    )

    class Meta(Register.Meta):
        constraints: ClassVar = [
            unique_code("places_structure"),
            models.CheckConstraint(
                condition=Q(rows__isnull=True, columns__isnull=True)
                | Q(
                    rows__isnull=False,
                    columns__isnull=False,
                    rows__range=(1, 40),
                    columns__range=(1, 40),
                ),
                name="places_structure_grid_or_open",
            ),
            models.CheckConstraint(
                condition=Q(bay__isnull=True, parent__isnull=True)
                | Q(bay__isnull=True, plot__isnull=True)
                | Q(parent__isnull=True, plot__isnull=True),
                name="places_structure_one_place",
            ),
            models.CheckConstraint(
                condition=Q(parent_row__isnull=True, parent_column__isnull=True)
                | Q(parent__isnull=False, parent_row__isnull=False, parent_column__isnull=False),
                name="places_structure_cell_of_parent",
            ),
            models.UniqueConstraint(
                fields=["parent", "parent_row", "parent_column"],
                condition=Q(parent_row__isnull=False),
                name="places_structure_one_a_cell",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}".strip()

    @classmethod
    def prepare(cls, given: Mapping[str, Any]) -> Mapping[str, Any]:
        """Blocked cells may be written as text: `A1 K1 A11 K11` or `A1:A3`."""
        blocked = given.get("blocked")
        if not isinstance(blocked, str):
            return given
        try:
            names = [cell.name for cell in expand(blocked)] if blocked.strip() else []
        except CellError as error:
            raise Refused(Problem(error.code, str(error), ("blocked",))) from error
        return {**given, "blocked": names}

    def clean(self) -> None:
        if (self.rows is None) != (self.columns is None):
            raise ValidationError(
                {"columns": "A grid has both rows and columns; an open structure has neither."}
            )
        if self.rows is None or self.columns is None:
            if self.blocked:
                raise ValidationError({"blocked": "An open structure has no cells to block."})
            return
        if not (1 <= self.rows <= 40 and 1 <= self.columns <= 40):
            raise ValidationError({"rows": "A grid has 1 to 40 rows and 1 to 40 columns."})
        if not isinstance(self.blocked, list):
            raise ValidationError({"blocked": "Blocked cells are a list of names."})
        grid = Grid(self.rows, self.columns, frozenset())
        names = []
        for name in self.blocked:
            try:
                cell = parse_cell(str(name))
                grid.check(cell)
            except CellError as error:
                raise ValidationError({"blocked": str(error)}) from error
            names.append(cell.name)
        self.blocked = names

    @property
    def is_open(self) -> bool:
        return self.rows is None

    @property
    def grid(self) -> Grid | None:
        """The cells it has, or None where it is open."""
        if self.rows is None or self.columns is None:
            return None
        return Grid(self.rows, self.columns, frozenset(parse_cell(name) for name in self.blocked))

    @property
    def parent_cell(self) -> Cell | None:
        if self.parent_row is None or self.parent_column is None:
            return None
        return Cell(self.parent_row, self.parent_column)


class StructureStep(models.Model):
    """The ledger of structures: where one stood from an event on. Values are absolute."""

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="structure_steps")
    structure = models.ForeignKey(Structure, on_delete=models.PROTECT, related_name="steps")
    order = models.PositiveIntegerField(
        help_text=_("place in the structure's own sequence, from 1")
    )
    live = models.BooleanField(default=True)
    bay = models.ForeignKey(Bay, on_delete=models.PROTECT, null=True, related_name="+")
    parent = models.ForeignKey(Structure, on_delete=models.PROTECT, null=True, related_name="+")
    parent_row = models.PositiveSmallIntegerField(null=True)
    parent_column = models.PositiveSmallIntegerField(null=True)
    plot = models.ForeignKey(Plot, on_delete=models.PROTECT, null=True, related_name="+")
    lost = models.BooleanField(default=False)

    class Meta:
        ordering: ClassVar = ["structure", "order"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["structure", "order"],
                condition=Q(live=True),
                name="places_structurestep_sequence",
            ),
            models.UniqueConstraint(
                fields=["event", "structure"],
                condition=Q(live=True),
                name="places_structurestep_once_an_event",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.structure_id} step {self.order}"

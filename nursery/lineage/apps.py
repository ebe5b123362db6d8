"""Registration of the app with Django."""

from django.apps import AppConfig


class LineageConfig(AppConfig):
    """Ramets and their steps: collecting, cutting, placing, moving, tracing."""

    name = "nursery.lineage"
    label = "lineage"
    verbose_name = "ramets"
    default_auto_field = "django.db.models.BigAutoField"

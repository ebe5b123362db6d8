"""Registration of the app with Django."""

from django.apps import AppConfig


class CoreConfig(AppConfig):
    """What every record stands on: people, actors, event headers, history, codes, dates."""

    name = "nursery.core"
    label = "core"
    verbose_name = "records"
    default_auto_field = "django.db.models.BigAutoField"

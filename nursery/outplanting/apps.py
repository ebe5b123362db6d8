"""Registration of the app with Django."""

from django.apps import AppConfig


class OutplantingConfig(AppConfig):
    """Manifests, outplantings and monitoring visits."""

    name = "nursery.outplanting"
    label = "outplanting"
    verbose_name = "outplanting"
    default_auto_field = "django.db.models.BigAutoField"

"""Registration of the app with Django."""

from django.apps import AppConfig


class GenotypingConfig(AppConfig):
    """Samples, genotypes, and who is the same individual."""

    name = "nursery.genotyping"
    label = "genotyping"
    verbose_name = "genotyping"
    default_auto_field = "django.db.models.BigAutoField"

"""Registration of the app with Django."""

from django.apps import AppConfig


class DiversityConfig(AppConfig):
    """Genet diversity: indices, reports and audits."""

    name = "nursery.diversity"
    label = "diversity"
    verbose_name = "diversity"
    default_auto_field = "django.db.models.BigAutoField"

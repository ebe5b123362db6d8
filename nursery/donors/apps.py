"""Registration of the app with Django."""

from django.apps import AppConfig


class DonorsConfig(AppConfig):
    """Taxa, genets, permits and donor colonies."""

    name = "nursery.donors"
    label = "donors"
    verbose_name = "donors and genets"
    default_auto_field = "django.db.models.BigAutoField"

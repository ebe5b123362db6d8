"""Registration of the app with Django."""

from django.apps import AppConfig


class ExchangeConfig(AppConfig):
    """Import, export and labels."""

    name = "nursery.exchange"
    label = "exchange"
    verbose_name = "import and export"
    default_auto_field = "django.db.models.BigAutoField"

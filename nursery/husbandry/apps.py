"""Registration of the app with Django."""

from django.apps import AppConfig


class HusbandryConfig(AppConfig):
    """Looking after what grows in the nurseries."""

    name = "nursery.husbandry"
    label = "husbandry"
    verbose_name = "husbandry"
    default_auto_field = "django.db.models.BigAutoField"

"""Registration of the app with Django."""

from django.apps import AppConfig


class AccessConfig(AppConfig):
    """Roles, memberships and tokens."""

    name = "nursery.access"
    label = "access"
    verbose_name = "access"
    default_auto_field = "django.db.models.BigAutoField"

"""Registration of the app with Django."""

from django.apps import AppConfig


class PlacesConfig(AppConfig):
    """Reefs, nurseries, systems, bays and structures; outplant sites and plots."""

    name = "nursery.places"
    label = "places"
    verbose_name = "places"
    default_auto_field = "django.db.models.BigAutoField"

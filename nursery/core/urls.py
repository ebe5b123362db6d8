"""Addresses of logging in and out, and of how the pages look."""

from django.urls import path

from nursery.core.views.appearance import ChooseLook, PutAway
from nursery.core.views.session import LogIn, LogOut

urlpatterns = [
    path("login/", LogIn.as_view(), name="login"),
    path("logout/", LogOut.as_view(), name="logout"),
    path("look/", ChooseLook.as_view(), name="look"),
    path("cautions/", PutAway.as_view(), name="put-away"),
]

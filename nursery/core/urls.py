"""Addresses of logging in and out, of how the pages look, and of editing registers."""

from django.urls import path

from nursery.core.views.appearance import ChooseLook, PutAway
from nursery.core.views.editing import KeepPage
from nursery.core.views.keeping_lists import DropList, KeepList, RenameList
from nursery.core.views.session import LogIn, LogOut

urlpatterns = [
    path("login/", LogIn.as_view(), name="login"),
    path("logout/", LogOut.as_view(), name="logout"),
    path("look/", ChooseLook.as_view(), name="look"),
    path("register/<str:register>/new/", KeepPage.as_view(), name="new"),
    path("register/<str:register>/<str:code>/", KeepPage.as_view(), name="edit"),
    path("kept/", KeepList.as_view(), name="keep-list"),
    path("kept/<int:pk>/", RenameList.as_view(), name="rename-list"),
    path("kept/<int:pk>/remove/", DropList.as_view(), name="drop-list"),
    path("cautions/", PutAway.as_view(), name="put-away"),
]

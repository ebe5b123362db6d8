"""What every test may use: property-test profiles, the database's place, and a browser."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page
    from pytest_django.plugin import DjangoDbBlocker

# Examples stay random, so that each run looks at new ones; a failure prints how to see it again.
# No deadline: a loaded machine is slow now and then, which is no fault of the code.
for _profile, _examples in (("short", 25), ("usual", 60), ("thorough", 1000)):
    hypothesis_settings.register_profile(
        _profile,
        max_examples=_examples,
        deadline=None,
        derandomize=False,
        print_blob=True,
        suppress_health_check=[HealthCheck.too_slow],
    )
hypothesis_settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "usual"))

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
POLICY = "Content Security Policy"
"""What the browser says where it kept something from loading."""
BROWSER_FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None,
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    """Put the SQLite file into this run's own folder: runs side by side do not meet."""
    from django.conf import settings

    database = settings.DATABASES["default"]
    if database["ENGINE"] == "django.db.backends.sqlite3":
        folder = tmp_path_factory.mktemp("database")
        database["TEST"]["NAME"] = str(folder / "register.sqlite3")


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: "DjangoDbBlocker") -> None:
    """Find out once what SQLite can do with JSON: Django asks it when it first has to know, and a
    test that counts queries would count that too."""
    from django.db import connection

    with django_db_blocker.unblock():
        assert connection.features.supports_json_field


@contextmanager
def _database_beside_the_browser() -> Iterator[None]:
    """Let tests use the database while the browser's driver runs.

    The driver keeps an event loop in the test's thread, in which Django refuses blocking calls.
    Nothing asynchronous runs in that thread, so the refusal is lifted while the driver is there.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        yield


@pytest.fixture(scope="module")
def browser() -> Iterator["Browser"]:
    """The machine's own Chromium without a window; none is ever downloaded."""
    from playwright.sync_api import sync_playwright

    executable = next(filter(None, map(shutil.which, BROWSERS)), None)
    if executable is None:
        pytest.fail("No browser found. On Debian: apt-get install chromium", pytrace=False)
    with _database_beside_the_browser(), sync_playwright() as driver:
        chromium = driver.chromium.launch(
            executable_path=executable, args=BROWSER_FLAGS, headless=True
        )
        yield chromium
        chromium.close()


@pytest.fixture
def page(browser: "Browser") -> Iterator["Page"]:
    """An empty page in a context of its own. An uncaught script error fails the test, and so does
    anything that the security policy kept from loading.
    """
    context = browser.new_context(viewport={"width": 1280, "height": 800}, locale="en-GB")
    context.set_default_timeout(10_000)
    tab = context.new_page()
    errors: list[str] = []
    tab.on("pageerror", lambda error: errors.append(str(error)))
    tab.on("console", lambda said: errors.append(said.text) if POLICY in said.text else None)
    yield tab
    context.close()
    assert errors == []

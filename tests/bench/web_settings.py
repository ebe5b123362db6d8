"""The settings of an installation, and one more address that answers nothing in particular."""

from restoration.settings import *  # noqa: F403

ROOT_URLCONF = "tests.bench.web_urls"

"""What all tests share: reference data, quick passwords, files in a folder of their own, people signed in."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from pytest_django import Settings

from tests.builders import a_firm, a_user

SignedIn = Callable[..., Client]


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> None:
    """Every test finds the reference data: parameters, bands, methods, kinds of permission, tax rules."""
    from servicedesk.setup.reference import reference_load

    with django_db_blocker.unblock():
        reference_load()


@pytest.fixture(autouse=True)
def _quick_settings(settings: Settings, tmp_path: Path) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.STORAGES = settings.STORAGES | {
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
    }
    settings.CELERY_TASK_ALWAYS_EAGER = False


@pytest.fixture
def signed_in(db: None) -> SignedIn:
    """A browser of somebody with the roles given: ``signed_in("office")``, ``signed_in(user=user)``."""

    def make(*roles: str, user: Any = None) -> Client:
        a_firm()
        client = Client()
        client.force_login(user or a_user(*roles), backend="django.contrib.auth.backends.ModelBackend")
        return client

    return make


@pytest.fixture
def committed(transactional_db: None) -> None:
    """Rows that other threads see; such tests empty the tables after them, so the reference data comes anew."""
    from servicedesk.setup.reference import reference_load

    reference_load()

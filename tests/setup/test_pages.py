"""The demo's pages, as each role finds them by following links: no errors, and never more than thirty queries."""

import re
from collections import deque
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import Client, override_settings
from django.test.utils import CaptureQueriesContext
from django.urls import resolve

from servicedesk.people.models import Role, User
from servicedesk.setup.demo.load import demo_load
from servicedesk.setup.demo.size import Size

MOST_QUERIES, MOST_OF_A_KIND = 30, 2
LINK = re.compile(r'(?:href|hx-get)="(/[^"#]*)"')


@pytest.fixture(scope="module")
def demo(django_db_setup: None, django_db_blocker: Any) -> Any:
    with django_db_blocker.unblock(), transaction.atomic():
        with override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"]):
            demo_load(Size(sites=6, weeks=5))
        yield
        transaction.set_rollback(True)


def is_paper(path: str) -> bool:
    return path.startswith(("/static/", "/media/")) or path.endswith((".pdf", "/file/")) or "/report/" in path


def crawl(user: User) -> dict[str, tuple[int, int]]:
    """Answer and queries of the pages that can be reached, at most a few of a kind."""
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    client.get("/settings/")  # what a first request alone does is not the page's
    waiting, seen, found = deque(["/"]), {"/"}, {}
    kinds: dict[str, int] = {}
    while waiting:
        path = waiting.popleft()
        kind = resolve(path.partition("?")[0]).view_name
        kinds[kind] = kinds.get(kind, 0) + 1
        if kinds[kind] > MOST_OF_A_KIND:
            continue
        with CaptureQueriesContext(connection) as queries:
            response = client.get(path)
        found[path] = response.status_code, len(queries)
        targets = [response["Location"]] if response.status_code == 302 else []
        if response.status_code == 200 and "text/html" in response["Content-Type"]:
            targets = LINK.findall(response.content.decode().replace("&amp;", "&"))
        for target in targets:
            if target not in seen and not is_paper(target.partition("?")[0]):
                seen.add(target)
                waiting.append(target)
    return found


@pytest.mark.parametrize("role", Role.values)
def test_every_page_works_in_at_most_thirty_queries(demo: None, django_db_blocker: Any, role: str) -> None:
    with django_db_blocker.unblock():
        user = User.objects.filter(roles__contains=[role]).order_by("pk")[0]
        found = crawl(user)
    assert len(found) > 10
    assert {path: row for path, row in found.items() if row[0] not in {200, 302} or row[1] > MOST_QUERIES} == {}

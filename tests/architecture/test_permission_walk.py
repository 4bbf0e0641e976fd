"""Every URL by every role: what a role may not do answers 403, what it may neither 403 nor 500."""

import pytest
from django.db import transaction
from django.test import Client

from servicedesk.people.models import Role
from servicedesk.people.permissions import allows
from tests.architecture.conftest import ALL, World, browser, capability
from tests.builders import a_user

pytestmark = pytest.mark.django_db

# The feed answers to its secret address alone: a calendar cannot sign in.
PUBLIC = {"healthz", "readyz", "people:sign-in", "people:theme-set", "routes:feed"}
EVERYBODY = {"people:sign-out", "people:password"}
NOT_ALLOWED, SERVER_ERROR = 403, 500


def answers(client: Client, url: str) -> set[int]:
    """What GET and POST answer; nothing they do stays."""
    found = set()
    for method in (client.get, client.post):
        with transaction.atomic():
            found.add(method(url).status_code)
            transaction.set_rollback(True)
    return found


def test_every_url_asks_for_a_capability_or_is_listed_as_open() -> None:
    assert {name for name in ALL if capability(name) is None} == PUBLIC | EVERYBODY


def test_strangers_are_sent_to_the_sign_in(world: World) -> None:
    stranger = browser(None)
    for name in set(ALL) - PUBLIC:
        response = stranger.get(world.url(name))
        assert response.status_code == 302, name
        assert response["Location"].startswith("/sign-in/"), name


@pytest.mark.parametrize("role", Role.values)
def test_role_may_do_what_the_table_says_and_no_more(world: World, role: str) -> None:
    client, wrong = browser(a_user(role)), []
    for name in sorted(set(ALL) - PUBLIC - EVERYBODY):
        found = answers(client, world.url(name))
        allowed = allows([role], capability(name) or "")
        broken = any(code >= SERVER_ERROR for code in found)
        if broken or (NOT_ALLOWED in found if allowed else found != {NOT_ALLOWED}):
            wrong.append((name, found))
    assert wrong == []

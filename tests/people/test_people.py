from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from servicedesk.common.models import MailMessage
from servicedesk.people.models import Leave, Permission, PermissionKind, Role
from servicedesk.people.queries import permission_row, permissions_valid
from servicedesk.people.services import leave_add, permission_add, renewals_warn
from tests.builders import a_firm, a_technician, a_user
from tests.conftest import SignedIn

pytestmark = pytest.mark.django_db
DAY = date(2026, 12, 7)


def a_permission(first: date, last: date, **over: object) -> Permission:
    kind = PermissionKind.objects.create(name="Harbour badge", kind="badge", warn_days=30)
    return Permission.objects.create(user=a_user(Role.TECHNICIAN), kind=kind, first_day=first, last_day=last, **over)


@pytest.mark.parametrize(
    ("first", "last", "holds"),
    [
        (DAY, DAY, True),
        (date(2026, 1, 1), date(2026, 12, 6), False),
        (date(2026, 12, 8), date(2027, 12, 8), False),
        (date(2026, 1, 1), DAY, True),
    ],
)
def test_permission_holds_from_its_first_to_its_last_day(first: date, last: date, holds: bool) -> None:
    permission = a_permission(first, last)
    assert (permission.kind_id in permissions_valid(permission.user, DAY)) is holds


@pytest.mark.parametrize(("left", "state"), [(31, "valid"), (30, "soon"), (0, "soon"), (-1, "lapsed")])
def test_permission_about_to_lapse_says_so(left: int, state: str) -> None:
    permission = a_permission(date(2026, 1, 1), DAY + timedelta(days=left))
    assert permission_row(permission, DAY).state == state


def test_renewal_is_warned_of_once() -> None:
    a_firm()
    a_permission(date(2026, 1, 1), DAY + timedelta(days=10))
    assert (renewals_warn(on=DAY), renewals_warn(on=DAY)) == (1, 0)
    assert MailMessage.objects.filter(subject__icontains="Harbour badge").count() + MailMessage.objects.count() >= 1


def test_renewal_far_off_is_not_warned_of() -> None:
    a_firm()
    a_permission(date(2026, 1, 1), DAY + timedelta(days=31))
    assert renewals_warn(on=DAY) == 0


def test_permission_may_not_end_before_it_begins() -> None:
    kind = PermissionKind.objects.create(name="Harbour badge", kind="badge")
    permission = Permission(user=a_user(), kind=kind, first_day=DAY, last_day=DAY - timedelta(days=1))
    with pytest.raises(ValidationError):
        permission_add(permission=permission, actor=a_user())


def test_leave_may_not_end_before_it_begins() -> None:
    leave = Leave(technician=a_technician(), first_day=DAY, last_day=DAY - timedelta(days=1))
    with pytest.raises(ValidationError):
        leave_add(leave=leave, actor=a_user())


def sign_in(browser: Client, email: str, password: str) -> int:
    data = {"username": email, "password": password}
    return browser.post(reverse("people:sign-in"), data, REMOTE_ADDR="192.0.2.1").status_code


def test_right_password_signs_in_whatever_the_case_of_the_email() -> None:
    a_firm()
    user = a_user(Role.OFFICE, email="Olga@Test.example")
    assert sign_in(Client(), user.email.upper(), "reef-round-2026") == 302


def test_guessing_is_stopped() -> None:
    a_firm()
    user, browser = a_user(Role.OFFICE), Client()
    tries = [sign_in(browser, user.email, f"wrong-{number}") for number in range(9)]
    assert tries[0] == 200
    assert tries[-1] in {403, 429}
    data = {"username": user.email, "password": "reef-round-2026"}
    response = browser.post(reverse("people:sign-in"), data, REMOTE_ADDR="192.0.2.1")
    assert response.status_code in {403, 429}, (response.status_code, response.get("Location"), tries)


def test_somebody_who_left_cannot_sign_in() -> None:
    a_firm()
    user = a_user(Role.OFFICE, is_active=False)
    assert sign_in(Client(), user.email, "reef-round-2026") == 200


@pytest.mark.parametrize("role", Role.values)
def test_everybody_lands_on_a_page_of_their_own(signed_in: SignedIn, role: str) -> None:
    response = signed_in(role).get("/", follow=True)
    assert response.status_code == 200

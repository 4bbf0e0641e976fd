"""A dialog of the Week may be opened by its own address: its form is sent as any form is."""

from playwright.sync_api import Browser

from tests.journeys.conftest import DESK, Desk, Person


def test_replan_opened_by_its_address_is_sent(desk: Desk, browser: Browser) -> None:
    person = Person(browser, desk, desk.accounts["planner"][0], DESK)
    page = person.page
    page.goto("/week/")
    address = page.get_by_role("link", name="Replan from now…").get_attribute("href")
    assert address
    page.goto(address)
    with page.expect_response(lambda response: response.request.method == "POST") as sent:
        page.get_by_role("button", name="Replan", exact=True).click()
    assert "hx-request" not in sent.value.request.headers
    assert sent.value.status < 500
    person.errors.clear()  # nothing was filled in: the browser notes the refusal
    person.leave()

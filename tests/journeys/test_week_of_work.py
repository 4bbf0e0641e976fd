"""A week of work carried through in a browser: planned, published, done on a tablet, reported, billed."""

import re
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from playwright.sync_api import Browser, Locator, Page, expect

from tests.journeys.conftest import DESK, TABLET, Desk, Person

WAIT_MS = 60_000


def test_a_week_from_plan_to_paid(desk: Desk, browser: Browser) -> None:
    planner = Person(browser, desk, desk.accounts["planner"][0], DESK)
    plan_and_publish(planner.page)
    planner.leave()

    technician, stop = technician_with_a_stop(browser, desk)
    page = technician.page
    site = stop.get_by_role("heading", level=3).get_by_role("link").inner_text()
    item = fill_and_sign(page)
    visit_url = page.url
    technician.leave()

    office = Person(browser, desk, desk.accounts["office"][0], DESK)
    report = send_report(office.page, site, desk)
    assert report[:5] == b"%PDF-"
    number = issue_and_send_invoice(office.page, visit_url, desk)
    mark_paid(office.page, number)
    reminder_was_raised(office.page, item, desk)
    next_visit_changed(office.page, site)
    office.leave()


def plan_and_publish(page: Page) -> None:
    """Next week has visits and no rounds: plan them in the worker, then publish."""
    page.get_by_role("link", name="Week", exact=True).first.click()
    page.get_by_role("navigation", name="Choose a week").get_by_role("link").last.click()
    expect(page.get_by_text("not planned yet")).to_be_visible()
    page.get_by_role("button", name="Plan the week").click()
    expect(page.get_by_text("draft, technicians do not see it yet")).to_be_visible(timeout=WAIT_MS)
    assert page.locator(".cell-stop").count() > 5
    page.get_by_role("link", name="Publish…").click()
    page.get_by_role("button", name="Publish to the technicians").click()
    expect(page.locator(".plan-state").get_by_text("published")).to_be_visible()


def technician_with_a_stop(browser: Browser, desk: Desk) -> tuple[Person, Locator]:
    """Somebody whose next stop, today or on the next day that has one, is a visit and not help at somebody else's."""
    today = datetime.now(UTC)
    for ahead in range(9):
        day = (today + timedelta(days=ahead)).strftime("%Y-%m-%d")
        for email in desk.accounts["technician"]:
            person = Person(browser, desk, email, TABLET)
            person.page.goto("/round/" if not ahead else f"/round/{day}/")
            stops = person.page.locator(".stop-card:not([data-state=signed]):not([data-state=not_done])")
            if stops.count() and stops.first.get_attribute("data-helps") is None:
                expect(person.page.locator("#load")).to_be_visible()
                return person, stops.first
            person.leave()
    raise AssertionError("no technician has a stop in the next days")


def fill_and_sign(page: Page) -> str:
    """Fill the form with an alkalinity far too low, note what was used, sign. The name of the item used up."""
    page.locator(".stop-card:not([data-state=signed]) header a").first.click()
    page.get_by_role("button", name="Start the visit").click()
    on_another_day = page.get_by_role("button", name="Begin it today")
    expect(on_another_day.or_(page.get_by_label("Arrived at"))).to_be_visible()
    if on_another_day.is_visible():
        on_another_day.click()
    expect(page.get_by_label("Arrived at")).not_to_have_value("")
    go_to(page, "Test")
    alkalinity = page.locator(".entry[data-key^='test.'][data-key$='.alkalinity']").first
    alkalinity.locator("select[data-unit]").select_option("dKH")
    band = re.search(r"band ([\d.]+)", alkalinity.inner_text())
    assert band is not None
    too_low = f"{float(band.group(1)) - 0.4:.1f}"
    typed(alkalinity, too_low)
    expect(alkalinity.locator(".steps li").first).to_be_visible()
    expect(alkalinity.locator(".result")).to_contain_text(re.compile(r"\d+ g"))
    corrected_without_a_network(alkalinity, too_low)
    page.reload()
    expect(page.locator(".entry[data-key$='.alkalinity'] [data-typed]").first).to_have_value(too_low)
    go_to(page, "Use")
    item = use_up_something(page)
    go_to(page, "Sign")
    sign(page)
    return item


def corrected_without_a_network(entry: Locator, again: str) -> None:
    """The dose of one value never stands under another: it goes when the value does, and comes back when it is sent."""
    result = entry.locator(".result")
    entry.page.context.set_offline(True)
    entry.locator("[data-typed]").fill(f"{float(again) - 0.1:.1f}")
    expect(result).to_have_text(re.compile("belongs to the value before"))
    expect(result.locator("svg, .state, .steps")).to_have_count(0)
    expect(entry.page.locator("#kept")).to_have_text(re.compile("not sent yet"))
    entry.locator("[data-typed]").fill(again)
    expect(result.locator(".steps")).to_have_count(0)
    entry.page.context.set_offline(False)
    expect(result.locator(".steps li").first).to_be_visible()
    expect(result).not_to_have_text(re.compile("belongs to the value before"))


def go_to(page: Page, step: str) -> None:
    kept(page)
    page.locator(".step-bar").get_by_role("link", name=step).click()
    expect(page.get_by_role("heading", level=1)).to_be_visible()


def kept(page: Page) -> None:
    """Until everything typed has reached the desk."""
    expect(page.locator("#kept")).to_have_text(re.compile("^all kept"))


def typed(entry: Locator, words: str) -> None:
    with entry.page.expect_response(lambda answer: "/entries/" in answer.url):
        entry.locator("[data-typed]").fill(words)


def use_up_something(page: Page) -> str:
    """Note a use of the first thing in the van so large that it falls under its reorder point."""
    choice = page.get_by_label("What, from where")
    words = choice.locator("option").all_inner_texts()[1]
    choice.select_option(label=words)
    page.get_by_label("How much").fill("900000")
    page.get_by_role("button", name="Note it").click()
    expect(page.get_by_text("900,000")).to_be_visible()
    return words


def sign(page: Page) -> None:
    technician = page.locator(".entry[data-key='sign.technician.strokes'] canvas")
    draw(technician)
    if not page.locator("[data-key='sign.technician.name'] [data-typed]").input_value():
        typed(page.locator("[data-key='sign.technician.name']"), "Technician")
    page.locator("[data-key='sign.client.how']").get_by_text("nobody there").click()
    typed(page.locator("[data-key='sign.client.reason']"), "Reception was closed")
    page.locator("[data-key='leave.at'] [data-now]").click()
    kept(page)
    page.get_by_role("button", name="Sign off the visit").dblclick()
    expect(page.get_by_text("Revision 1 of")).to_be_visible(timeout=WAIT_MS)


def draw(canvas: Locator) -> None:
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    assert box is not None
    mouse = canvas.page.mouse
    mouse.move(box["x"] + 30, box["y"] + 60)
    mouse.down()
    for step in range(1, 12):
        mouse.move(box["x"] + 30 + step * 20, box["y"] + 60 + (step % 3) * 15)
    mouse.up()


def until(found: Callable[[], bool], what: str, seconds: float = 60) -> None:
    deadline = time.monotonic() + seconds
    while not found():
        assert time.monotonic() < deadline, f"waited {seconds:.0f} s for {what}"
        time.sleep(0.3)


def send_report(page: Page, site: str, desk: Desk) -> bytes:
    page.goto("/accounts/")
    page.get_by_role("link", name=re.compile(f"^{re.escape(site)},")).first.click()
    report_url = page.url

    def made() -> bool:
        page.goto(report_url)
        return page.get_by_role("link", name="Read the PDF").count() > 0

    until(made, "the report's PDF")
    if not page.get_by_label("To").input_value():
        page.get_by_label("To").fill("client@harbour.example")
    before = len(desk.post.messages)
    page.get_by_role("button", name="Send to the client").click()
    until(lambda: len(desk.post.messages) > before, "the report's mail")
    _receivers, message = desk.post.messages[-1]
    return attachment(message)


def attachment(message: object) -> bytes:
    for part in message.iter_attachments():  # type: ignore[attr-defined]
        if part.get_content_type() == "application/pdf":
            return bytes(part.get_content())
    raise AssertionError("the mail carries no PDF")


def issue_and_send_invoice(page: Page, visit_url: str, desk: Desk) -> str:
    page.goto(visit_url)
    client = page.locator("dl.facts dd").nth(1).inner_text()
    page.goto("/accounts/tray/to-bill/")
    row = page.get_by_role("row").filter(has_text=client)
    while not row.count():
        page.get_by_role("link", name="Next").click()
        row = page.get_by_role("row").filter(has_text=client)
    row.get_by_role("link", name="Prepare invoice").click()
    page.get_by_role("button", name="Make the draft").click()
    page.get_by_role("button", name="Issue: give it its number").dblclick()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Invoice S")
    number = page.get_by_role("heading", level=1).inner_text().removeprefix("Invoice ").strip()
    assert re.fullmatch(r"[A-Z]+\d{4}-\d+", number)
    invoice_url = page.url

    def made() -> bool:
        page.goto(invoice_url)
        return page.get_by_role("link", name="Read the PDF").count() > 0

    until(made, "the invoice's PDF")
    if not page.get_by_label("To").input_value():
        page.get_by_label("To").fill("client@harbour.example")
    page.get_by_role("button", name="Send to the client").click()
    until(lambda: bool(desk.post.about(number)), "the invoice's mail")
    assert attachment(desk.post.about(number)[0])[:5] == b"%PDF-"
    return number


def mark_paid(page: Page, number: str) -> None:
    page.goto("/accounts/tray/unpaid/")
    page.goto("/accounts/tray/all/")
    page.get_by_role("link", name=number).click()
    page.get_by_role("button", name="Mark as paid").dblclick()
    expect(page.locator("dl.facts .state[data-state=good]")).to_contain_text("paid")


def reminder_was_raised(page: Page, item: str, desk: Desk) -> None:
    """Stock went down and the shortage stands in Stores and in the office's mail."""
    name = item.split(" · ", maxsplit=1)[0].split(",", maxsplit=1)[0]

    desk.job("stores.raise_reminders")

    def raised() -> bool:
        page.goto("/stores/")
        return page.locator("section[aria-labelledby=short]").get_by_text(name).count() > 0

    until(raised, "the reorder reminder")
    until(lambda: bool(desk.post.about(name)), "the reminder's mail")


def next_visit_changed(page: Page, site: str) -> None:
    """The site's next visit knows of the alkalinity: a note, a load line, and why it is due when it is."""
    page.goto("/sites/")
    page.get_by_label("Find a site or client").fill(site)
    page.locator("main a[href^='/sites/']").get_by_text(site, exact=True).first.click()  # a client may share the name
    page.get_by_role("link", name="All visits here").click()
    page.get_by_role("row").filter(has_text=re.compile("to be planned|on a round")).last.get_by_role("link").click()
    expect(page.get_by_text("Alkalinity is being corrected").first).to_be_visible()
    expect(page.locator("main")).to_contain_text(re.compile(r"g Sodium bicarbonate"))

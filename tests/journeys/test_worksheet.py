"""A lead aquarist at the tank: a sheet filled from the installation, answered while typing, kept and printed."""

import re

from playwright.sync_api import Browser, expect

from tests.journeys.conftest import TABLET, Desk, Person


def test_a_dose_worked_out_kept_and_printed(desk: Desk, browser: Browser) -> None:
    person = Person(browser, desk, desk.accounts["lead aquarist"][0], TABLET)
    page = person.page
    page.get_by_role("link", name="Worksheets", exact=True).click()
    page.get_by_label("What do you want to work out?").fill("raise alkalinity")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name=re.compile("^Raise alkalinity What to weigh")).click()
    expect(page.get_by_text("Still to type:")).to_be_visible()

    page.get_by_label("Data of").select_option(index=1)
    page.get_by_role("button", name="Fill in").click()
    expect(page.get_by_text("↩ of the system")).to_be_visible()

    now = page.get_by_label("Alkalinity now", exact=True)
    now.fill("0.1")
    expect(page.locator("#error-alkalinity_meq_l")).to_contain_text("outside")
    expect(now).to_have_value("0.1")
    now.fill("6,2")
    expect(page.locator("#error-alkalinity_meq_l")).to_be_hidden()
    answer = page.locator("#answer")
    expect(answer.locator(".do li").first).to_contain_text("sodium bicarbonate")
    first = answer.locator(".figures dd").first.inner_text()
    page.get_by_label("With", exact=True).select_option(label="sodium carbonate")
    expect(answer.locator(".do li").first).to_contain_text("sodium carbonate")
    assert answer.locator(".figures dd").first.inner_text() != first

    now.fill("2,4 meq/L")
    now.press("Enter")
    expect(now).to_have_value("2,4")
    expect(page.locator("select[name=alkalinity_meq_l__unit]")).to_have_value("meq_l")
    assert "/worksheets/raise-alkalinity/" in page.url, "Enter keeps nothing"
    volume = page.get_by_label("Net volume of the system", exact=True)
    litres = float(volume.input_value())
    unit = page.locator("select[name=volume_l__unit]")
    other = "L" if unit.input_value() == "gal" else "gal"
    unit.select_option(other)
    factor = 3.785411784 if other == "L" else 1 / 3.785411784
    assert abs(float(volume.input_value()) / litres / factor - 1) < 1e-3, "a number filled in follows its unit"
    expect(page.locator("#answer-state")).to_be_hidden()
    person.context.set_offline(True)
    now.fill("2,3")
    expect(page.locator("#answer-state")).to_contain_text("belongs to earlier values")
    person.context.set_offline(False)
    expect(page.locator("#answer-state")).to_be_hidden()
    person.errors.clear()  # the browser notes the lost request

    now.fill("2,35")
    answer.get_by_text("How it was worked out").hover()
    with page.expect_response(re.compile("/answer/")):
        page.mouse.down()  # leaving the field asks anew: the answer must not change under the finger
    page.wait_for_timeout(200)
    page.mouse.up()
    expect(answer.get_by_text("stoichiometry").first).to_be_visible()
    pdf = page.request.get(answer.get_by_role("link", name="Print").get_attribute("href") or "")
    assert pdf.body()[:5] == b"%PDF-"

    page.get_by_label("Note").fill("before the fair")
    page.get_by_role("button", name="Keep").dblclick()
    expect(page.get_by_text("before the fair")).to_be_visible()
    expect(page.get_by_role("heading", name="Inputs")).to_be_visible()
    page.get_by_role("link", name="All of this installation").click()
    expect(page.get_by_role("link", name="Raise alkalinity", exact=True).first).to_be_visible()
    assert page.locator("li", has_text="before the fair").count() == 1
    person.leave()

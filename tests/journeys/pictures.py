"""Pictures of the main screens for the README: ``python -m tests.journeys.pictures URL`` against a running demo."""

import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from servicedesk.launch.paths import ROOT
from tests.journeys.conftest import CHROMIUM_ARGUMENTS, DESK, PASSWORD, TABLET

OUT = ROOT / ".pictures"
DEFAULT_URL = "http://127.0.0.1:8765"


def main(url: str) -> None:
    OUT.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=CHROMIUM_ARGUMENTS)
        for name, (person, viewport, take) in SHOTS.items():
            page = signed_in(browser, url, person, viewport)
            take(page)
            page.wait_for_timeout(600)
            page.screenshot(path=OUT / f"{name}.png")
            page.context.close()
        report_picture(browser, url)
        browser.close()


def signed_in(browser: Browser, url: str, person: str, viewport: dict[str, int]) -> Page:
    page = browser.new_context(base_url=url, viewport=viewport, accept_downloads=True).new_page()  # type: ignore[arg-type]
    page.goto("/sign-in/")
    page.get_by_label("Email").fill(f"{person}@ninebark.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda address: "/sign-in/" not in address)
    return page


def week(page: Page) -> None:
    page.goto("/week/")


def round_on_map(page: Page) -> None:
    page.goto("/week/")
    page.locator(".week-day.today .open-round").last.click()
    page.locator("#round-panel .panel-body").wait_for()
    page.locator("#round-panel").scroll_into_view_if_needed()


def my_round(page: Page) -> None:
    page.goto("/round/")


def visit_form(page: Page) -> None:
    """A reading typed, with what it means."""
    page.goto("/round/")
    page.locator(".stop-card header a").last.click()
    address = page.url
    page.goto(f"{address}form/test/")
    entry = page.locator(".entry[data-key^='test.']").first
    with page.expect_response(lambda answer: "/entries/" in answer.url):
        entry.locator("[data-typed]").fill("6.4")
    entry.locator(".steps").wait_for()


def water(page: Page) -> None:
    page.goto("/water/")
    page.locator("tbody a").first.click()


def stores(page: Page) -> None:
    page.goto("/stores/")


def accounts(page: Page) -> None:
    page.goto("/accounts/tray/unpaid/")


def worksheet(page: Page) -> None:
    """The hours of the limewater, from what the system remembers."""
    page.goto("/worksheets/limewater-hours/?installation=1")
    page.get_by_role("textbox", name="Alkalinity used a day").fill("0.35")
    page.locator("#answer .plot").wait_for()


SHOTS: dict[str, tuple[str, dict[str, int], Callable[[Page], None]]] = {
    "week": ("planner", DESK, week),
    "round": ("planner", DESK, round_on_map),
    "my-round": ("junia", TABLET, my_round),
    "visit-form": ("junia", TABLET, visit_form),
    "water": ("aquarist", DESK, water),
    "worksheet": ("aquarist", DESK, worksheet),
    "stores": ("office", DESK, stores),
    "accounts": ("office", DESK, accounts),
}


def report_picture(browser: Browser, url: str) -> None:
    """The first page of a signed report."""
    page = signed_in(browser, url, "office", DESK)
    page.goto("/accounts/")
    page.locator("tbody a").first.click()
    link = page.get_by_role("link", name="Read the PDF").get_attribute("href")
    answer = page.request.get(f"{url}{link}")
    with tempfile.TemporaryDirectory() as folder:
        paper = Path(folder) / "report.pdf"
        paper.write_bytes(answer.body())
        command = ["pdftoppm", "-png", "-r", "90", "-f", "1", "-l", "1", "-singlefile", str(paper), str(OUT / "report")]
        subprocess.run(command, check=True)
    page.context.close()


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else DEFAULT_URL)

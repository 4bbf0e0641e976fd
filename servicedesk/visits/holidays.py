"""Days on which a site is not to be visited: public holidays of its region, and its own closures."""

from datetime import date
from functools import lru_cache

import holidays

from servicedesk.clients.models import Site


@lru_cache(maxsize=256)
def _calendar(region: str, year: int) -> dict[date, str]:
    country, _dash, subdivision = region.partition("-")
    try:
        found = holidays.country_holidays(country, subdiv=subdivision or None, years=year)
    except NotImplementedError:
        return {}
    return dict(found.items())


def holiday_name(site: Site, day: date) -> str:
    """The public holiday on a day at a site's region, or an empty text."""
    return _calendar(site.holiday_region, day.year).get(day, "") if site.holiday_region else ""


def closure_reason(site: Site, day: date) -> str:
    """Why the site is closed on a day, or an empty text."""
    found = next((row for row in site.closures.all() if row.first_day <= day <= row.last_day), None)
    return found.reason if found else ""

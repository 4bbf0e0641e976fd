"""A timesheet as a table (CSV) and on paper (PDF)."""

import csv
import io
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.common.money import round_money
from servicedesk.common.pdf import render_pdf
from servicedesk.people.models import Firm
from servicedesk.routes.hours import HOUR_S, Worked
from servicedesk.routes.queries.hours import Sheet

HEADER = (
    "person", "date", "begins", "ends", "elapsed_h", "worked_h", "visits_h", "driving_h", "waiting_h", "other_h",
    "break_h", "ordinary_h", "overtime_h", "night_h", "note",
)  # fmt: skip
RISKY = ("=", "+", "-", "@")


def hours_text(seconds: int) -> str:
    """Hours with two digits, as payroll programs read them."""
    return str((Decimal(seconds) / HOUR_S).quantize(Decimal("0.01")))


def rows_of(sheet: Sheet) -> Iterable[Sequence[str]]:
    """One row for each day of work; moments with their offset, so that a doubled hour is told apart."""
    zone = ZoneInfo(sheet.technician.time_zone)
    for day in sheet.days:
        yield (
            _safe(str(sheet.technician)),
            day.day.isoformat(),
            day.starts.astimezone(zone).isoformat(timespec="minutes"),
            day.ends.astimezone(zone).isoformat(timespec="minutes"),
            *(hours_text(seconds) for seconds in _figures(day)),
            _safe(" ".join(day.notes)),
        )


def _figures(day: Worked) -> tuple[int, ...]:
    kinds = (day.seconds_of(kind) for kind in ("visit", "drive", "wait", "other"))
    return (day.elapsed_s, day.worked_s, *kinds, day.break_s, day.ordinary_s, day.overtime_s, day.night_s)


def _safe(text: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(RISKY) else text


def sheets_csv(sheets: Iterable[Sheet]) -> str:
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(HEADER)
    for sheet in sheets:
        writer.writerows(rows_of(sheet))
    return out.getvalue()


def money(amount: Decimal, currency: str) -> str:
    return f"{round_money(amount, currency):,}"


def sheet_context(sheet: Sheet) -> dict[str, Any]:
    """What page and paper show of a sheet."""
    total, currency = sheet.total, sheet.currency
    return {
        "sheet": sheet,
        "pay": [
            (_("ordinary hours"), total.ordinary_s, money(total.pay, currency)),
            (_("overtime"), total.overtime_s, money(total.overtime_pay, currency)),
            (_("more for night hours"), total.night_s, money(total.night_pay, currency)),
        ],
        "all_pay": money(total.all_pay, currency),
    }


def sheet_pdf(sheet: Sheet) -> bytes:
    firm = Firm.objects.first()
    title = _("Timesheet: %(name)s, %(month)s") % {
        "name": sheet.technician,
        "month": date_format(sheet.month.first, "F Y"),
    }
    context = sheet_context(sheet) | {"title": title, "seller": firm}
    return render_pdf("routes/pdf/timesheet.html", context, paper=str(firm.paper if firm else Firm.Paper.LETTER))

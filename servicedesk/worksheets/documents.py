"""A worked worksheet on paper, and its drawings on any surface."""

from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.safestring import SafeString

from servicedesk.common.pdf import render_pdf
from servicedesk.common.svg.plot import chart_drawing
from servicedesk.installations.models import Installation
from servicedesk.people.models import Firm
from servicedesk.people.queries import letterhead


def drawings(told: dict[str, Any] | None) -> list[SafeString]:
    """The record's charts, in the units in which it was told."""
    return [chart_drawing(chart) for chart in told["charts"]] if told else []


def worksheet_pdf(
    told: dict[str, Any],
    firm: Firm,
    *,
    installation: Installation | None,
    by: str,
    at: datetime | None = None,
    note: str = "",
) -> bytes:
    """The sheet as a PDF on the firm's paper."""
    context = {
        "title": told["title"],
        "seller": letterhead(firm),
        "told": told,
        "charts": drawings(told),
        "installation": installation,
        "by": by,
        "at": at or timezone.now(),
        "note": note,
    }
    return render_pdf("worksheets/pdf/worksheet.html", context, paper=firm.paper)

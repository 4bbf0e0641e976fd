"""Reports: the PDF made from the frozen snapshot, and corrections as new revisions."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.common import jobs
from servicedesk.people.models import User
from servicedesk.readings.models import Reading
from servicedesk.readings.services import TypedReading, canonical, reading_correct
from servicedesk.science import live, units
from servicedesk.visits import documents, snapshot
from servicedesk.visits.form.meaning import STATES
from servicedesk.visits.models import VisitReport


@dataclass(frozen=True, slots=True)
class Correctable:
    """A reading of a report that may be corrected: key "installation index:parameter", as typed now."""

    key: str
    label: str
    typed: str
    unit: str


def report_render(*, report_id: UUID | str) -> None:
    """Make a report's PDF once; running twice makes one. The digest is verified first."""
    report = VisitReport.objects.get(pk=report_id)
    if report.pdf:
        return
    if snapshot.digest(report.snapshot) != report.sha256:
        _note_error(report, _("The snapshot does not match its digest; the report is not made."))
        return
    try:
        data = documents.report_pdf(report)
    except Exception as error:
        _note_error(report, str(error))
        raise
    with transaction.atomic():
        locked = VisitReport.objects.select_for_update().get(pk=report.pk)
        if locked.pdf:
            return
        locked.pdf.save(f"{locked.visit_id}-r{locked.revision}.pdf", ContentFile(data), save=False)
        locked.pdf_made_at, locked.pdf_error = timezone.now(), ""
        locked.save(update_fields=["pdf", "pdf_made_at", "pdf_error"])


def _note_error(report: VisitReport, words: str) -> None:
    VisitReport.objects.filter(pk=report.pk).update(pdf_error=words[:300])


def reports_sweep() -> None:
    """Take up reports whose job was lost."""
    for report_id in VisitReport.objects.filter(pdf="").order_by("made_at").values_list("pk", flat=True)[:20]:
        report_render(report_id=report_id)


def correctable_readings(report: VisitReport) -> list[Correctable]:
    data = json.loads(report.snapshot)
    return [
        Correctable(
            f"{index}:{row['parameter']}",
            f"{part['code']} · {row['name']}",
            row["typed"],
            units.unit_of(row["quantity"], row["unit"]).label,
        )
        for index, part in enumerate(data["installations"])
        for row in part["readings"]
        if row.get("value") is not None
    ]


def note_of(report: VisitReport) -> str:
    note: str = json.loads(report.snapshot)["note"]
    return note


@transaction.atomic
def report_correct(
    *, report: VisitReport, reason: str, note: str, readings: Mapping[str, str], actor: User
) -> VisitReport:
    """A new revision with corrected readings and note; the old one stays. Values are typed in their old unit."""
    newest = VisitReport.objects.select_for_update().filter(visit=report.visit).order_by("-revision").first()
    if newest is None or newest.pk != report.pk:
        raise ValidationError(_("Somebody corrected this report meanwhile. Look at the newest revision first."))
    if not reason.strip():
        raise ValidationError({"reason": [_("Say why the report is corrected.")]})
    data = json.loads(report.snapshot)
    data["note"] = note.strip()
    problems: dict[str, list[str]] = {}
    for index, part in enumerate(data["installations"]):
        for row in part["readings"]:
            typed = readings.get(f"{index}:{row['parameter']}", row["typed"]).strip()
            if row.get("value") is None or typed == row["typed"]:
                continue
            try:
                _correct_row(report, part, row, typed, actor)
            except ValidationError as error:
                problems[f"{index}:{row['parameter']}"] = error.messages
    if problems:
        raise ValidationError(problems)
    text = snapshot.canonical_json(data)
    if text == report.snapshot:
        raise ValidationError(_("Nothing was changed."))
    fresh = VisitReport.objects.create(
        visit=report.visit,
        revision=report.revision + 1,
        reason=reason.strip(),
        snapshot=text,
        sha256=snapshot.digest(text),
        made_by=actor,
    )
    jobs.enqueue("visits.render_report", str(fresh.pk))
    return fresh


def _correct_row(report: VisitReport, part: dict[str, Any], row: dict[str, Any], typed: str, actor: User) -> None:
    if report.visit.started_at is None:
        raise ValidationError(_("This visit has no time of arrival."))
    old = (
        Reading.objects.select_related("parameter")
        .filter(installation__code=part["code"], parameter=row["parameter"], superseded_by=None)
        .filter(taken_at=report.visit.started_at)
        .first()
    )
    if old is None:
        raise ValidationError(_("This reading is not in the books any more."))
    value, below = canonical(old.parameter, typed, row["unit"])
    reading_correct(reading=old, typed=TypedReading(row["parameter"], typed, row["unit"], confirmed=True), actor=actor)
    band = {edge: float(limit) if limit is not None else None for edge, limit in row["band"].items()}
    state = live.band_state(value, band)
    row.update(
        typed=typed,
        value=snapshot.number(value),
        below=below,
        state=state,
        words=str(STATES[state][1]),
        advice=[_("Corrected after the visit; the dose advised there followed the value typed then.")],
        cautions=[],
    )

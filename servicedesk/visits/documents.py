"""The visit report, drawn from the frozen snapshot alone."""

import json
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.core.files.storage import default_storage
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from servicedesk.common.display import DisplayUnits, use_display
from servicedesk.common.pdf import render_pdf
from servicedesk.common.svg import BandStrip, Mark, band_strip
from servicedesk.common.svg.draw import drawing, element, number
from servicedesk.science import units
from servicedesk.visits.form.declaration import display_unit
from servicedesk.visits.models import VisitReport

BOX_W, BOX_H = 600, 200


@dataclass(frozen=True, slots=True)
class ReadingView:
    """A reading as the client reads it: value in their unit, verdict, advice, and its strip."""

    name: str
    value: str
    words: str
    state: str
    band: str
    advice: list[str]
    cautions: list[str]
    strip: SafeString | None
    not_done: str
    confirmed_odd: bool


@dataclass(frozen=True, slots=True)
class InstallationView:
    data: dict[str, Any]
    volume: str
    readings: list[ReadingView]
    plant: list[dict[str, Any]]
    additions: list[str]


@dataclass(frozen=True, slots=True)
class ReportView:
    """Everything the report's templates show."""

    data: dict[str, Any]
    day: date
    arrived: datetime | None
    left: datetime | None
    installations: list[InstallationView]
    signatures: list[dict[str, Any]]
    photos: list[dict[str, Any]]
    report: VisitReport

    @property
    def troubles(self) -> list[str]:
        """What a hurried reader must know: readings out of band and checks that failed."""
        found = [
            f"{part.data['name']}: {row.name} {row.value}, {row.words}"
            for part in self.installations
            for row in part.readings
            if row.state not in {"", "in"}
        ]
        found += [
            f"{part.data['name']}: {row['item']}, {row['check']}: {row['shown']}"
            for part in self.installations
            for row in part.plant
            if row["failed"]
        ]
        return found

    @property
    def all_in_band(self) -> bool:
        return any(row.value for part in self.installations for row in part.readings) and not self.troubles


def report_view(report: VisitReport) -> ReportView:
    """Read a report's snapshot into what the page and the PDF show, in the client's units."""
    data = json.loads(report.snapshot)
    shown = DisplayUnits(data["display"]["unit_system"], data["display"]["alkalinity_unit"])
    with use_display(shown):
        installations = [_installation(row) for row in data["installations"]]
    visit = data["visit"]
    return ReportView(
        data=data,
        day=date.fromisoformat(visit["date"]),
        arrived=datetime.fromisoformat(visit["arrived"]) if visit["arrived"] else None,
        left=datetime.fromisoformat(visit["left"]) if visit["left"] else None,
        installations=installations,
        signatures=[{**row, "drawing": _signature(row)} for row in data["signatures"]],
        photos=data["photos"],
        report=report,
    )


def report_pdf(report: VisitReport) -> bytes:
    """The PDF of a report revision (PDF/UA-1)."""
    view = report_view(report)
    context = {
        "view": view,
        "data": view.data,
        "seller": view.data["firm"],
        "title": _("Visit report: %(site)s") % {"site": view.data["site"]["name"]},
        "photos": [
            {**photo, "path": default_storage.path(photo["file"])}
            for photo in view.photos
            if default_storage.exists(photo["file"])
        ],
        "report": report,
    }
    return render_pdf("visits/pdf/report.html", context, paper=view.data["firm"]["paper"])


def _installation(data: dict[str, Any]) -> InstallationView:
    volume = units.show("volume", float(data["net_volume_l"]), display_unit("volume"))
    return InstallationView(
        data=data,
        volume=volume,
        readings=[_reading(row) for row in data["readings"]],
        plant=[_check(row) for row in data["plant"]],
        additions=[_addition(row) for row in data["additions"]],
    )


def _reading(row: dict[str, Any]) -> ReadingView:
    quantity = row["quantity"]
    unit = display_unit(quantity)
    if row.get("value") is None:
        return ReadingView(row["name"], "", "", "", "", [], [], None, row["not_done"], row["confirmed_odd"])
    sign = "< " if row["below"] else ""
    band = row["band"]
    found = units.unit_of(quantity, unit)
    edges = [units.from_canonical(quantity, float(band[edge]), unit) for edge in ("low", "high")]
    return ReadingView(
        name=row["name"],
        value=sign + units.show(quantity, float(row["value"]), unit),
        words=row["words"],
        state=row["state"],
        band=f"{edges[0]:.{found.digits}f} – {edges[1]:.{found.digits}f} {found.label}".strip(),
        advice=row["advice"],
        cautions=row["cautions"],
        strip=_strip(row, unit),
        not_done=row["not_done"],
        confirmed_odd=row["confirmed_odd"],
    )


def _strip(row: dict[str, Any], unit: str) -> SafeString:
    quantity, band = row["quantity"], row["band"]
    found = units.unit_of(quantity, unit)

    def shown(value: str | None) -> float | None:
        return None if value is None else units.from_canonical(quantity, float(value), unit)

    def mark(value: str, sd: str, *, below: bool = False) -> Mark:
        centre = units.from_canonical(quantity, float(value), unit)
        edge = units.from_canonical(quantity, float(value) + float(sd), unit)
        return Mark(centre, abs(edge - centre), below=below)

    marks = [mark(past["value"], past["sd"]) for past in row["history"]]
    marks.append(mark(row["value"], row["sd"], below=row["below"]))
    return band_strip(
        BandStrip(
            name=row["name"],
            unit=found.label,
            low=shown(band["low"]) or 0.0,
            high=shown(band["high"]) or 0.0,
            alarm_low=shown(band["alarm_low"]),
            alarm_high=shown(band["alarm_high"]),
            marks=marks,
            words=row["words"],
            digits=found.digits,
        )
    )


def _check(row: dict[str, Any]) -> dict[str, Any]:
    if row["value"] is not None:
        shown = (
            units.show(row["quantity"], float(row["value"]), display_unit(row["quantity"]))
            if row["quantity"]
            else f"{float(row['value']):g}"
        )
    else:
        shown = row["word"]
    moment = {"found": _("as found"), "left": _("as left")}.get(row["moment"], "")
    return {**row, "shown": shown or _("not done"), "moment_words": moment}


def _addition(row: dict[str, Any]) -> str:
    amount = ""
    if row["mass_g"] is not None:
        amount = f"{float(row['mass_g']):g} g"
    elif row["volume_l"] is not None:
        amount = units.show("volume", float(row["volume_l"]), display_unit("volume"))
    return f"{row['what'] or row['kind']}: {amount}".strip(": ")


def _signature(row: dict[str, Any]) -> SafeString | None:
    if not row["strokes"]:
        return None
    lines = "".join(
        element(
            "polyline",
            points=" ".join(f"{number(float(x))},{number(float(y))}" for x, y in stroke),
            fill="none",
            stroke="#14212b",
            stroke_width=3,
            stroke_linecap="round",
            class_="ink",
        )
        for stroke in row["strokes"]
    )
    title = _("Signature of %(name)s") % {"name": row["name"]}
    return mark_safe(drawing(title, BOX_W, BOX_H, lines, "signature"))  # noqa: S308 - numbers and escaped text only

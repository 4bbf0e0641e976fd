"""The report: its PDF says what the snapshot says and can be read aloud; a correction is a new revision."""

import json
import re
import subprocess
from io import BytesIO
from itertools import pairwise
from uuid import uuid4

import pikepdf
import pytest
from django.core.exceptions import ValidationError

from servicedesk.readings.models import Reading
from servicedesk.visits.models import VisitReport
from servicedesk.visits.services.report import report_correct, report_render, reports_sweep
from servicedesk.visits.services.sign_off import visit_sign_off
from tests.builders import a_machine
from tests.conftest import SignedIn
from tests.visits.filling import STARTED, Scene, fill


def signed(scene: Scene) -> VisitReport:
    chiller = a_machine(scene.reef, "chiller", label="Chiller on the roof")
    fill(scene, "7.0").type("notes.client", "Two frags fell; put back.")
    scene.type(f"plant.{chiller.pk}.set_point_c", "25", "degC")
    scene.type(scene.key("calcium"), "", not_done_reason="no reagent")
    return visit_sign_off(visit=scene.visit, actor=scene.user)


def rendered(report: VisitReport) -> bytes:
    report_render(report_id=report.pk)
    report.refresh_from_db()
    assert report.pdf_error == ""
    with report.pdf.open("rb") as stored:
        return bytes(stored.read())


def text_of(data: bytes) -> str:
    """What a reader outside the project finds in the PDF (poppler's pdftotext)."""
    found = subprocess.run(["pdftotext", "-layout", "-", "-"], input=data, capture_output=True, check=True)
    return re.sub(r"\s+", " ", found.stdout.decode())


def test_the_pdf_says_what_the_snapshot_says(scene: Scene) -> None:
    report = signed(scene)
    text, data = text_of(rendered(report)), json.loads(report.snapshot)
    part = data["installations"][0]
    told = [data["client"]["name"], data["site"]["name"], data["visit"]["technician"], data["note"], part["code"]]
    for row in part["readings"]:
        told += [row["name"], row["not_done"], row.get("words", "")]
        told += [re.sub(r"\s+", " ", words) for words in [*row.get("advice", []), *row.get("cautions", [])]]
    told += [row["item"] for row in part["plant"]]
    told += [row["reason"] for row in data["signatures"]]
    squeezed = text.replace(" ", "")
    assert [words for words in told if words.replace(" ", "") not in squeezed] == []
    assert "no reagent" in text


def test_the_pdf_carries_revision_and_digest(scene: Scene) -> None:
    report = signed(scene)
    text = text_of(rendered(report)).replace(" ", "")
    assert report.sha256 in text
    assert "Revision1" in text


def test_the_pdf_bears_the_marks_of_pdf_ua_1(scene: Scene) -> None:
    """ISO 14289-1: 7.1 (marked, title shown), 7.2 (language), 5 (identifier), 7.3 (figures have alternate text)."""
    with pikepdf.open(BytesIO(rendered(signed(scene)))) as pdf:
        root = pdf.Root
        assert bool(root.MarkInfo.Marked)
        assert str(root.Lang).startswith("en")
        assert bool(root.ViewerPreferences.DisplayDocTitle)
        with pdf.open_metadata() as metadata:
            assert metadata["pdfuaid:part"] == "1"
            assert scene.visit.site.name in str(metadata["dc:title"])
        elements = list(structure(root.StructTreeRoot))
    figures = [element for element in elements if str(element.get("/S")) == "/Figure"]
    assert figures
    assert all(str(figure.get("/Alt", "")).strip() for figure in figures)
    levels = [int(str(row.S)[2:]) for row in elements if re.fullmatch(r"/H\d", str(row.get("/S")))]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def structure(node: pikepdf.Object) -> list[pikepdf.Object]:
    """All elements of the structure tree below ``node``, in reading order."""
    kids = node.get("/K")
    rows = list(kids) if isinstance(kids, pikepdf.Array) else [kids]
    found = []
    for row in rows:
        if isinstance(row, pikepdf.Dictionary) and "/S" in row:
            found += [row, *structure(row)]
    return found


def test_making_it_twice_makes_one(scene: Scene) -> None:
    report = signed(scene)
    first = rendered(report)
    name = report.pdf.name
    assert rendered(report) == first
    assert report.pdf.name == name


def test_a_lost_job_is_taken_up_by_the_sweep(scene: Scene) -> None:
    report = signed(scene)
    reports_sweep()
    report.refresh_from_db()
    assert report.pdf


def correct(scene: Scene, report: VisitReport, typed: str, reason: str = "Misread the burette") -> VisitReport:
    return report_correct(
        report=report, reason=reason, note="Corrected.", readings={"0:alkalinity": typed}, actor=scene.user
    )


def test_a_correction_is_a_second_revision_with_its_reason_and_both_stay(scene: Scene) -> None:
    report = signed(scene)
    second = correct(scene, report, "7.9")
    report.refresh_from_db()
    assert (second.revision, second.reason) == (2, "Misread the burette")
    assert scene.visit.reports.count() == 2
    assert json.loads(report.snapshot)["installations"][0]["readings"][0]["typed"] == "7.0"
    text = text_of(rendered(second))
    assert "Misread the burette" in text
    assert "7.9 dKH" in text


def test_a_corrected_reading_keeps_the_old_one(scene: Scene) -> None:
    correct(scene, signed(scene), "7.9")
    old, new = Reading.objects.filter(installation=scene.reef, taken_at=STARTED).order_by("pk")
    assert (old.typed_value, new.typed_value) == ("7.0", "7.9")
    assert old.superseded_by_id == new.pk


def test_two_corrections_of_the_same_revision_make_one(scene: Scene) -> None:
    report = signed(scene)
    correct(scene, report, "7.9")
    with pytest.raises(ValidationError):
        correct(scene, report, "7.5")


@pytest.mark.parametrize(
    ("typed", "reason", "words"),
    [("a lot", "Typo", "is not a number"), ("7.9", "", "This field is required"), ("99", "Typo", "cannot be 99")],
)
def test_a_wrong_correction_keeps_the_rest(
    scene: Scene, signed_in: SignedIn, typed: str, reason: str, words: str
) -> None:
    signed(scene)
    data = {"reason": reason, "note": "Now right.", "0:alkalinity": typed, "token": str(uuid4())}
    answer = signed_in("lead_aquarist").post(f"/visits/{scene.visit.pk}/correct/", data)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in page
    assert "Now right." in page
    assert f'value="{typed}"' in page
    assert scene.visit.reports.count() == 1

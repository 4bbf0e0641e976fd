"""Readings from a table: every row has a fate before anything is stored; the same file again stores nothing."""

from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from servicedesk.installations.models import Installation
from servicedesk.readings.importing import fates, store
from servicedesk.readings.models import Reading, Sampling
from tests.builders import an_installation
from tests.conftest import SignedIn

pytestmark = pytest.mark.django_db
HEADER = ["installation", "taken_at", "parameter", "value", "unit"]


def row(*cells: str) -> dict[str, str]:
    return dict(zip(HEADER, cells, strict=True))


def test_every_row_gets_its_fate_and_nothing_is_stored() -> None:
    reef = an_installation()
    rows = [
        row(reef.code, "2026-01-05 09:15", "alkalinity", "8.1", "dKH"),
        row("NOWHERE", "2026-01-05 09:15", "alkalinity", "8.1", "dKH"),
        row(reef.code, "5 January", "alkalinity", "8.1", "dKH"),
        row(reef.code, "2026-02-30 09:15", "alkalinity", "8.1", "dKH"),
        row(reef.code, "2999-01-01 09:15", "alkalinity", "8.1", "dKH"),
        row(reef.code, "2026-01-05 09:15", "magic", "8.1", ""),
        row(reef.code, "2026-01-05 09:15", "calcium", "lots", ""),
        row(reef.code, "2026-01-05 09:15", "calcium", "-4", ""),
        row(reef.code, "2026-01-05 09:15", "calcium", "420", "furlong"),
        row(reef.code, "2026-01-05 09:15", "Alkalinity", "8.2", "dKH"),
    ]
    found = fates(rows)
    assert [fate.state for fate in found] == ["ok", *["wrong"] * 8, "known"]
    assert [fate.line for fate in found] == list(range(2, 12))
    assert all(fate.words for fate in found)
    assert not Sampling.objects.exists()


def test_a_time_without_zone_is_the_sites_clock() -> None:
    store(fates([row(an_installation().code, "2026-07-01T09:15", "calcium", "420", "")]), actor=None)
    assert Reading.objects.get().taken_at == datetime(2026, 7, 1, 14, 15, tzinfo=UTC)


def test_the_same_file_again_stores_nothing() -> None:
    reef = an_installation()
    rows = [row(reef.code, "2026-01-05 09:15", key, value, "") for key, value in (("calcium", "420"), ("ph", "8.2"))]
    assert store(fates(rows), actor=None) == 2
    assert {fate.state for fate in fates(rows)} == {"known"}
    assert store(fates(rows), actor=None) == 0
    assert (Sampling.objects.count(), Reading.objects.count()) == (1, 2)


def table(reef: Installation) -> list[list[object]]:
    return [[*HEADER], [reef.code, "2026-01-05 09:15", "alkalinity", "8.1", "dKH"], ["NOWHERE", "", "", "", ""]]


def csv_of(reef: Installation, separator: str) -> bytes:
    return "\n".join(separator.join(map(str, cells)) for cells in table(reef)).encode()


def xlsx_of(reef: Installation) -> bytes:
    book, stream = openpyxl.Workbook(), BytesIO()
    sheet = book.active
    assert sheet is not None
    for cells in table(reef):
        sheet.append(cells)
    sheet["B2"], sheet["D2"] = datetime(2026, 1, 5, 9, 15), 8.1  # noqa: DTZ001 - a workbook knows no zones
    book.save(stream)
    return stream.getvalue()


def upload(signed_in: SignedIn, name: str, content: bytes, **more: str) -> Any:
    browser = signed_in("lead_aquarist")
    page = browser.get("/water/import/")
    token = str(page.context["form"]["token"].value())
    data = {"file": SimpleUploadedFile(name, content), "token": token, **more}
    return browser.post("/water/import/", data)


@pytest.mark.parametrize("kind", ["comma", "semicolon", "xlsx"])
def test_a_file_is_first_shown_and_stored_on_the_second_press(signed_in: SignedIn, kind: str) -> None:
    reef = an_installation()
    name = "old.xlsx" if kind == "xlsx" else "old.csv"
    content = xlsx_of(reef) if kind == "xlsx" else csv_of(reef, ";" if kind == "semicolon" else ",")
    shown = upload(signed_in, name, content).content.decode()
    assert "No installation with the code" in shown
    assert not Reading.objects.exists()
    upload(signed_in, name, content, store="1")
    assert [(found.typed_value, found.typed_unit) for found in Reading.objects.all()] == [("8.1", "dKH")]


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.csv", b"when,what\n1,2"),
        ("a.csv", b"\xff\xfe\x00\x01"),
        ("a.csv", b"\n\n"),
        ("a.xlsx", b"no workbook"),
        ("a.csv", b'installation,taken_at,parameter,value\n"' + b"x" * 200_000),
        ("photo.jpg", Path(__file__).read_bytes()[:50]),
    ],
)
def test_a_file_that_is_no_table_is_refused_beside_the_field(signed_in: SignedIn, name: str, content: bytes) -> None:
    answer = upload(signed_in, name, content)
    assert answer.status_code == 422
    assert 'id="id_file' in answer.content.decode()
    assert not Reading.objects.exists()

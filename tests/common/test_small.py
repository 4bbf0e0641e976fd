"""The helpers every room uses."""

import threading
import xml.etree.ElementTree as ET
from datetime import UTC, datetime, timedelta
from io import BytesIO
from uuid import RFC_4122

import pytest
from django import forms
from django.db import connection
from openpyxl import Workbook

from servicedesk.clients.models import Contact, GateCode
from servicedesk.clients.services import record_create
from servicedesk.common.display import DisplayUnits, use_display
from servicedesk.common.forms import CoordinatesField, NumberField, QuantityField
from servicedesk.common.ids import new_id
from servicedesk.common.svg import BandStrip, DayRow, Mark, Panel, Span, band_strip, day_line, history_chart
from servicedesk.common.tables import UnreadableTable, read_table
from servicedesk.common.templatetags.saltround import qty
from tests.builders import a_client, a_site, a_user


def test_ids_are_laid_out_by_rfc_9562_version_7() -> None:
    made = new_id()
    assert (made.version, made.variant) == (7, RFC_4122)
    assert abs((made.int >> 80) / 1000 - datetime.now(UTC).timestamp()) < 5


def test_ids_sort_by_time() -> None:
    made = [new_id() for _ in range(200)]
    assert [one.int >> 80 for one in made] == sorted(one.int >> 80 for one in made)


@pytest.mark.django_db
def test_door_code_is_nowhere_readable_in_the_database() -> None:
    code = GateCode.objects.create(site=a_site(), label="Gate", secret="4711#")
    with connection.cursor() as cursor:
        cursor.execute("select secret from clients_gatecode where id = %s", [code.pk])
        stored = cursor.fetchone()[0]
    code.refresh_from_db()
    assert "4711" not in stored
    assert code.secret == "4711#"


@pytest.mark.django_db
def test_the_same_form_twice_makes_one_record() -> None:
    owner, token = a_user(), str(new_id())
    client = a_client()
    first = record_create(record=Contact(client=client, name="Ann"), token=token, actor=owner)
    second = record_create(record=Contact(client=client, name="Ann"), token=token, actor=owner)
    assert first.pk == second.pk


@pytest.mark.django_db(transaction=True)
def test_two_at_once_with_one_form_make_one_record() -> None:
    owner, client, token = a_user(), a_client(), str(new_id())
    made: list[int] = []

    def press() -> None:
        try:
            made.append(record_create(record=Contact(client=client, name="Ann"), token=token, actor=owner).pk)
        finally:
            connection.close()

    threads = [threading.Thread(target=press) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert client.contacts.filter(name="Ann").count() == 1


@pytest.mark.parametrize(
    ("typed", "unit", "litres"),
    [("100", "L", 100), ("26,4", "gal", 99.935), ("1 000", "gal", 3785.41), ("1,000", "gal", 3785.41)],
)
def test_quantity_is_cleaned_to_the_canonical_unit(typed: str, unit: str, litres: float) -> None:
    assert QuantityField("volume").clean([typed, unit]) == pytest.approx(litres, rel=1e-5)


@pytest.mark.parametrize(("typed", "words"), [("lots", "not a number"), ("-3", "at least"), ("", "required")])
def test_bad_quantity_says_what_is_wrong(typed: str, words: str) -> None:
    with pytest.raises(forms.ValidationError, match=words):
        QuantityField("volume").clean([typed, "L"])


@pytest.mark.parametrize("typed", ["36.16, -86.78", "36.16;-86.78", "36.16° -86.78°", " 36.16  -86.78 "])
def test_coordinates_as_people_paste_them(typed: str) -> None:
    assert CoordinatesField().clean(typed) == (36.16, -86.78)


@pytest.mark.parametrize("typed", ["36.16", "north", "96.2, 10", "10, 190", "1, 2, 3"])
def test_bad_coordinates_are_refused(typed: str) -> None:
    with pytest.raises(forms.ValidationError):
        CoordinatesField().clean(typed)


def test_number_with_a_comma() -> None:
    assert float(NumberField().clean("2,5")) == 2.5


def test_reader_chooses_the_units() -> None:
    with use_display(DisplayUnits(system="us", alkalinity="ppm_caco3")):
        assert (qty(3785.412, "volume"), qty(25.0, "temperature"), qty(2.5, "alkalinity")) == (
            "1,000 gal",
            "77.0 °F",
            "125 ppm CaCO₃",
        )


NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
DRAWINGS = {
    "band strip": lambda: band_strip(
        BandStrip(
            name="Calcium <&>",
            unit="mg/L",
            low=400,
            high=450,
            marks=[Mark(380, 8), Mark(430, 8)],
            words="430 mg/L in band",
            alarm_low=350,
            alarm_high=500,
            digits=0,
        )
    ),
    "history": lambda: history_chart(
        "History",
        [Panel("pH", "", [(NOW, 8.1, 0.02), (NOW + timedelta(days=3), 8.2, 0.02)], 8.0, 8.4, 2)],
        [],
        NOW - timedelta(days=10),
        NOW + timedelta(days=5),
    ),
    "day": lambda: day_line("Day", [DayRow("Lights", [Span(600, 1260)], "10:00 – 21:00")]),
}


@pytest.mark.parametrize("name", DRAWINGS)
def test_drawing_is_well_formed_without_styles_and_says_what_it_shows(name: str) -> None:
    svg = str(DRAWINGS[name]())
    root = ET.fromstring(svg)  # noqa: S314 - our own drawing
    assert root.get("role") == "img"
    assert root.get("aria-label") or root.find("{*}title") is not None
    assert root.tag.endswith("svg")
    assert not [element for element in root.iter() if element.get("style")]


def csv(text: str) -> BytesIO:
    return BytesIO(text.encode())


def test_table_by_header_whatever_the_separator() -> None:
    rows = read_table("a.csv", csv("Code;Name\nN1;Reef\n;\n"), ["code"])
    assert rows == [{"code": "N1", "name": "Reef"}]


def test_workbook_reads_like_a_text() -> None:
    book = Workbook()
    assert book.active is not None
    book.active.append(["code", "name"])
    book.active.append(["N1", "Reef"])
    file = BytesIO()
    book.save(file)
    file.seek(0)
    assert read_table("a.xlsx", file, ["code"]) == [{"code": "N1", "name": "Reef"}]


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("a.csv", b"", "empty"),
        ("a.csv", b"name\nx\n", "lacks: code"),
        ("a.csv", b"\xff\xfe\x00", "neither XLSX nor text"),
        ("a.xlsx", b"not a workbook", "not an XLSX workbook"),
    ],
)
def test_unreadable_table_says_why(name: str, data: bytes, words: str) -> None:
    with pytest.raises(UnreadableTable, match=words):
        read_table(name, BytesIO(data), ["code"])

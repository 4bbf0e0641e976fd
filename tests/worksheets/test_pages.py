"""The sheets on the screen: the live answer, errors beside the field, keeping, print."""

import html
import re
from datetime import UTC, datetime, timedelta

import pytest
from django.db import ProgrammingError
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from servicedesk.common.ids import new_id
from servicedesk.installations.models import Installation
from servicedesk.science.worksheets import catalogue
from servicedesk.science.worksheets.declare import Worksheet
from servicedesk.worksheets.models import KeptWorksheet
from tests.builders import a_kept_worksheet, a_user, an_installation, readings
from tests.conftest import SignedIn

pytestmark = pytest.mark.django_db
DOSE = {"volume_l": "22712", "alkalinity_meq_l": "7", "alkalinity_meq_l__unit": "dKH", "target_meq_l": "8.2"}
DOSE["target_meq_l__unit"] = "dKH"


@pytest.fixture
def aquarist(signed_in: SignedIn) -> Client:
    return signed_in(user=a_user("lead_aquarist", unit_system="metric"))


def answer(client: Client, name: str, **typed: str) -> str:
    return client.get(reverse("worksheets:answer", args=[name]), typed).content.decode()


def text_of(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def test_all_sheets_are_listed_and_found_by_words(aquarist: Client) -> None:
    page = aquarist.get(reverse("worksheets:index")).content.decode()
    assert all(sheet.title.replace("'", "&#x27;") in page for sheet in catalogue.all_worksheets())
    found = aquarist.get(reverse("worksheets:index"), {"q": "chiller starts"}).content.decode()
    assert "chiller-cycling" in found
    assert "raise-alkalinity" not in found
    assert "No sheet speaks" in aquarist.get(reverse("worksheets:index"), {"q": "zebra"}).content.decode()


@pytest.mark.parametrize("sheet", catalogue.all_worksheets(), ids=lambda sheet: sheet.name)
def test_every_sheet_opens_and_answers_in_words(aquarist: Client, sheet: Worksheet) -> None:
    assert aquarist.get(reverse("worksheets:sheet", args=[sheet.name])).status_code == 200
    words = text_of(answer(aquarist, sheet.name))
    assert any(part in words for part in ("Still to type", "How it was worked out", "Type two of"))


def test_the_answer_is_an_instruction_with_its_sum_and_source(aquarist: Client) -> None:
    words = text_of(answer(aquarist, "raise-alkalinity", **DOSE))
    for part in ("817 g", "sodium bicarbonate", "09:00", "six hours", "worked out", "CIAAW", "qualified"):
        assert part in words


def test_the_answer_speaks_the_readers_units(signed_in: SignedIn) -> None:
    reader = signed_in(user=a_user("technician", unit_system="us", alkalinity_unit="ppm_caco3"))
    page = reader.get(reverse("worksheets:sheet", args=["raise-alkalinity"])).content.decode()
    for unit in ("gal", "ppm_caco3"):
        assert re.search(rf'<option value="{unit}"[^>]* selected>', page)
    words = text_of(answer(reader, "salt-batch", batch_volume_l="264.17", batch_volume_l__unit="gal"))
    assert "gal of RO water" in words


def test_a_wrong_value_is_told_beside_its_field_and_missing_ones_are_listed(aquarist: Client) -> None:
    shown = answer(aquarist, "raise-alkalinity", volume_l="-5")
    beside = re.search(r'<p class="error" id="error-volume_l"[^>]*>([^<]*)', shown)
    assert beside is not None
    assert "outside" in beside.group(1)
    assert "Alkalinity now" in text_of(shown)
    assert "hidden" in re.search(r'id="error-alkalinity_meq_l"[^>]*', shown).group(0)  # type: ignore[union-attr]


def test_what_no_water_can_be_is_told_above_the_answer(aquarist: Client) -> None:
    shown = answer(aquarist, "carbonate-system", alkalinity_meq_l="0.5", ph="9.5", ph_scale="total")
    assert "borate" in text_of(shown)


def test_a_refusal_of_an_input_left_empty_is_told_too(aquarist: Client) -> None:
    assert "Type the mass of the fish" in text_of(answer(aquarist, "feeding-plan", volume_l="5000"))


def test_script_in_what_is_typed_stays_text(aquarist: Client) -> None:
    shown = answer(aquarist, "raise-alkalinity", volume_l="<script>alert(1)</script>")
    assert "<script>" not in shown


def test_kept_once_however_often_it_is_sent(aquarist: Client) -> None:
    installation = an_installation()
    data = {**DOSE, "installation": str(installation.pk), "note": "before the fair", "token": str(new_id())}
    for _ in range(2):
        response = aquarist.post(reverse("worksheets:keep", args=["raise-alkalinity"]), data)
        assert response.status_code == 302
    kept = KeptWorksheet.objects.get(installation=installation)
    assert kept.output("mass") == pytest.approx(817, abs=1)
    page = aquarist.get(reverse("worksheets:kept", args=[kept.pk])).content.decode()
    assert "before the fair" in page
    assert "817 g" in page


def test_keeping_without_an_installation_or_with_a_wrong_value_keeps_what_was_typed(aquarist: Client) -> None:
    url = reverse("worksheets:keep", args=["raise-alkalinity"])
    response = aquarist.post(url, {**DOSE, "volume_l": "lots", "note": "mine"})
    page = response.content.decode()
    assert response.status_code == 422
    assert 'value="lots"' in page
    assert 'value="mine"' in page
    assert "Choose the installation" in page
    assert "is not a number" in page
    assert not KeptWorksheet.objects.exists()


def test_going_back_and_keeping_other_values_keeps_them_too(aquarist: Client) -> None:
    installation = an_installation()
    data = {**DOSE, "installation": str(installation.pk), "token": str(new_id())}
    for typed in ("7", "6.4"):
        aquarist.post(reverse("worksheets:keep", args=["raise-alkalinity"]), {**data, "alkalinity_meq_l": typed})
    assert KeptWorksheet.objects.filter(installation=installation).count() == 2


def test_data_of_one_installation_are_not_kept_for_another(aquarist: Client) -> None:
    one, other = an_installation(), an_installation()
    data = {**DOSE, "installation": str(other.pk), "filled_from": str(one.pk), "token": str(new_id())}
    response = aquarist.post(reverse("worksheets:keep", args=["raise-alkalinity"]), data)
    assert response.status_code == 422
    assert "data of another installation" in response.content.decode()


def test_rows_are_read_in_the_readers_units(signed_in: SignedIn) -> None:
    reader = signed_in(user=a_user("technician", unit_system="us", alkalinity_unit="dKH"))
    typed = {
        "volume_l": "2642", "volume_l__unit": "gal", "first_meq_l": "8.2", "first_meq_l__unit": "dKH",
        "second_meq_l": "7.4", "second_meq_l__unit": "dKH", "days_d": "4",
    }  # fmt: skip
    plain = text_of(answer(reader, "alkalinity-demand", **typed))
    changed = text_of(answer(reader, "alkalinity-demand", **typed, changes="1 10 8.5"))
    assert _used(plain) == pytest.approx(0.2, abs=0.001)
    assert _used(changed) == pytest.approx(0.2 + 0.025, abs=0.02)  # a tenth of the water, a little richer
    page = reader.get(reverse("worksheets:sheet", args=["alkalinity-demand"])).content.decode()
    assert "level of the new water (dKH)" in page


def _used(words: str) -> float:
    found = re.search(r"used ([\d.]+) ", words)
    assert found is not None
    return float(found.group(1))


def test_a_kept_sheet_is_varied_from_its_own_values(aquarist: Client) -> None:
    kept = a_kept_worksheet(an_installation(), a_user("lead_aquarist"), "ph-over-the-day", volume="10000",
                            readings="07:30 8.12; 19:00 8.36", demand="0.2", alkalinity="2.76")  # fmt: skip
    page = aquarist.get(reverse("worksheets:kept", args=[kept.pk])).content.decode()
    link = re.search(r'href="([^"]+)">Change and work out anew', page)
    assert link is not None
    again = aquarist.get(html.unescape(link.group(1))).content.decode()
    assert "07:30 8.12" in again
    assert 'value="2.76"' in again


def test_a_withdrawn_sheet_is_listed_and_recalled_no_more(aquarist: Client) -> None:
    installation = an_installation()
    kept = a_kept_worksheet(installation, a_user("lead_aquarist"))
    aquarist.post(reverse("worksheets:withdraw", args=[kept.pk]))
    listed = aquarist.get(reverse("worksheets:index"), {"installation": installation.pk}).content.decode()
    assert str(kept.pk) not in listed
    assert "Withdrawn on" in aquarist.get(reverse("worksheets:kept", args=[kept.pk])).content.decode()


def test_trade_words_find_their_sheets(aquarist: Client) -> None:
    for wanted, found, not_found in (
        ("dkh", "raise-alkalinity", "chiller-size"),
        ("sg", "hydrometer-reading", "chiller-size"),
        ("kalkwasser", "limewater-hours", "raise-boron"),
        ("ro", "ro-supply", "raise-strontium"),
    ):
        page = aquarist.get(reverse("worksheets:index"), {"q": wanted}).content.decode()
        assert f"/{found}/" in page
        assert f"/{not_found}/" not in page


def test_a_kept_sheet_never_changes() -> None:
    kept = a_kept_worksheet(an_installation(), a_user("lead_aquarist"))
    kept.note = "other"
    with pytest.raises(ProgrammingError, match="Cannot update"):
        kept.save()


def test_print_is_an_accessible_pdf_with_instruction_and_sums(aquarist: Client) -> None:
    installation = an_installation()
    response = aquarist.get(
        reverse("worksheets:print", args=["raise-alkalinity"]), {**DOSE, "installation": str(installation.pk)}
    )
    assert response["Content-Type"] == "application/pdf"
    text = _pdf_text(response.content)
    for part in ("Raise alkalinity", installation.code, "817 g", "sodium bicarbonate", "How it was worked out"):
        assert part in text


def test_a_kept_sheet_prints_as_it_stood(aquarist: Client) -> None:
    kept = a_kept_worksheet(an_installation(), a_user("lead_aquarist"), "limewater-hours", volume="10000",
                            litres="50", demand="0.2", alkalinity="2.76")  # fmt: skip
    text = _pdf_text(aquarist.get(reverse("worksheets:kept-pdf", args=[kept.pk])).content)
    assert "Hours for the limewater" in text
    assert "caustic" in text


def _pdf_text(content: bytes) -> str:
    from io import BytesIO

    return " ".join(page.extract_text() for page in PdfReader(BytesIO(content)).pages)


def test_an_incomplete_print_shows_the_page_with_its_errors(aquarist: Client) -> None:
    response = aquarist.get(reverse("worksheets:print", args=["raise-alkalinity"]), {"volume_l": "5"})
    assert response.status_code == 422
    assert "Type the alkalinity now" in response.content.decode()


def test_the_reference_names_every_input_and_source(aquarist: Client) -> None:
    page = text_of(aquarist.get(reverse("worksheets:reference")).content.decode())
    assert "Lueker, Dickson" in page
    assert page.count("Holds") >= len(catalogue.all_worksheets())


def test_pages_ask_the_database_little(aquarist: Client, django_assert_max_num_queries: object) -> None:
    installation = _system()
    with django_assert_max_num_queries(30):  # type: ignore[operator]
        aquarist.get(reverse("worksheets:sheet", args=["limewater-hours"]), {"installation": installation.pk})


def _system() -> Installation:
    installation = an_installation()
    now = datetime.now(UTC)
    readings(installation, now - timedelta(days=7), alkalinity=("8.6", "dKH"))
    readings(installation, now, alkalinity=("7.9", "dKH"))
    return installation

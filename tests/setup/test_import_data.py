from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from servicedesk.clients.models import Client, Site
from servicedesk.consumables.models import Item, StockPlace
from servicedesk.consumables.queries import balance
from servicedesk.people.models import Role
from tests.builders import a_technician, a_user, van_place

pytestmark = pytest.mark.django_db

CLIENTS = (
    "name,street,city,postcode,payment_days\nCedar Court,1 Elm,Knoxville,37900,14\nOak Row,2 Elm,Knoxville,37900,soon\n"
)
SITES = (
    "client,name,street,city,region,postcode,latitude,longitude,time_zone\n"
    "Cedar Court,Atrium,1 Elm,Knoxville,TN,37900,35.96,-83.92,America/New_York\n"
)


def run(tmp_path: Path, kind: str, text: str, *arguments: str) -> tuple[int, str]:
    """Exit code and what was printed."""
    path, out = tmp_path / f"{kind}.csv", StringIO()
    path.write_text(text)
    try:
        call_command("import-data", kind, str(path), *arguments, stdout=out)
    except CommandError as error:
        return error.returncode, out.getvalue() + str(error)
    return 0, out.getvalue()


def test_dry_run_tells_every_rows_fate_and_stores_nothing(tmp_path: Path) -> None:
    code, said = run(tmp_path, "clients", CLIENTS, "--dry-run")
    assert code == 0
    assert "will be stored" in said
    assert "payment_days" in said
    assert "1 to store, 0 known, 1 wrong; nothing stored." in said
    assert not Client.objects.exists()


def test_fit_rows_are_stored_and_wrong_ones_end_in_exit_one(tmp_path: Path) -> None:
    a_user(Role.OWNER)
    code, said = run(tmp_path, "clients", CLIENTS)
    assert (code, Client.objects.get().payment_days) == (1, 14)
    assert "1 rows were left out" in said


def test_the_same_file_twice_stores_nothing_twice(tmp_path: Path) -> None:
    a_user(Role.OWNER)
    run(tmp_path, "clients", CLIENTS)
    assert run(tmp_path, "sites", SITES)[0] == 0
    code, said = run(tmp_path, "sites", SITES)
    assert (code, Site.objects.count()) == (0, 1)
    assert "0 stored, 1 known already" in said


def test_opening_stock_lies_where_the_table_says(tmp_path: Path) -> None:
    a_user(Role.OWNER)
    place = van_place(a_technician())
    header = "code,name,kind,unit,pack_quantity,quantity,place,lot,expires_on"
    text = f"{header}\nCARB,Carbon,media,g,1000,2500,{place.name},L1,2027-05-31\n"
    for _again in range(2):
        assert run(tmp_path, "consumables", text)[0] == 0
    assert balance(Item.objects.get(code="CARB"), StockPlace.objects.get(pk=place.pk)) == 2500


@pytest.mark.parametrize(
    ("text", "words"),
    [("", "empty"), ("name\nCedar\n", "lacks: street, city, postcode"), ("\x00", "neither XLSX nor text")],
)
def test_unreadable_file_exits_two_with_one_line(tmp_path: Path, text: str, words: str) -> None:
    code, said = run(tmp_path, "clients", text)
    assert code == 2
    assert words in said
    assert len(said.strip().splitlines()) == 1


def test_missing_file_exits_two(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="No such file") as caught:
        call_command("import-data", "clients", str(tmp_path / "none.csv"))
    assert caught.value.returncode == 2

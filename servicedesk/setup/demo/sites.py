"""Clients, sites, how to get in, and what was agreed."""

from collections.abc import Callable
from datetime import time, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import prefetch_related_objects
from psycopg.types.range import DateRange

from servicedesk.clients.models import (
    AccessWindow,
    Agreement,
    AgreementPrice,
    Client,
    ClientAddress,
    Closure,
    Contact,
    GateCode,
    Site,
    SiteKey,
)
from servicedesk.common.recurrence import Cadence, expand, to_rule
from servicedesk.people.models import PermissionKind
from servicedesk.setup.demo.size import fixture
from servicedesk.setup.demo.world import Place, World

WINDOWS: dict[str, list[tuple[range, str, str]]] = {
    "office": [(range(5), "08:00", "17:30")],
    "clinic": [(range(5), "07:30", "18:00")],
    "restaurant": [(range(7), "07:00", "11:30"), (range(5), "14:00", "16:30")],
    "hotel": [(range(7), "06:30", "21:00")],
    "home": [(range(6), "09:00", "17:00")],
    "night": [(range(5), "16:30", "01:00")],
    "museum": [(range(7), "07:00", "16:00")],
}
EVERY_DAY = {"restaurant", "hotel", "museum"}
TWO_STORES, TOGETHER_MIN = 2, 45
NOTES = {
    "office": "Reception opens the service door. Sign the visitors' book.",
    "clinic": "Staff entrance; no trolleys through the waiting room before 8:30.",
    "restaurant": "Through the kitchen yard. Out of the dining room before service.",
    "hotel": "Goods entrance, ask the duty manager for the plant room.",
    "home": "Ring first. Shoes off inside; towels on the parquet.",
    "night": "Loading dock, security walks with you. The window runs past midnight.",
    "museum": "Goods lift behind the loading bay; the curator's office has the plant key.",
}
PARKING = (
    "Loading bay, 30 minutes, then the deck.",
    "Own yard.",
    "Street; carry in 60 m.",
    "Garage, height limit 2.1 m.",
)
NAMES = fixture("contacts")
CADENCES: dict[str, tuple[Callable[[int], Cadence], int]] = {
    "weekly": (lambda day: Cadence("weeks", 1, (day,)), 52),
    "biweekly": (lambda day: Cadence("weeks", 2, (day,)), 26),
    "monthly": (lambda day: Cadence("months", 1, (day,), 2), 12),
    "twice": (lambda day: Cadence("weeks", 1, (day, day + 3)), 104),
}


def sites_make(world: World) -> list[dict[str, Any]]:
    """Clients and sites; returns their rows, which tell of the systems too."""
    rows: list[dict[str, Any]] = fixture("sites")["sites"][: world.size.sites]
    clients: dict[str, Client] = {}
    kinds = {kind.name: kind for kind in PermissionKind.objects.all()}
    for index, row in enumerate(rows):
        if row["client"] not in clients:
            clients[row["client"]] = _client(world, row, len(clients) + 1)
        site = _site(clients[row["client"]], row, index)
        needs = [kinds[row["badge"]]] if row["badge"] else []
        if any(system["kind"] == "jellyfish" for system in row["systems"]):
            needs.append(kinds["Jellyfish care"])
        site.needed_permissions.set(needs)
        place = Place(
            site, row["depot"], row.get("wrong", ""), row["minutes"], row["cadence"], row["weekday"], row["windows"],
            row.get("technician", ""),
        )  # fmt: skip
        world.places.append(place)
        _access(world, place, index)
    return rows


def _client(world: World, row: dict[str, Any], number: int) -> Client:
    chance = world.size.rng("client", row["client"])
    client = Client.objects.create(
        number=f"C{number:04}",
        name=row["client"],
        customer_type=row["type"],
        tax_id=f"EX-{4400 + number}" if row["type"] == "public" else "",
        payment_days=chance.choice([14, 21, 30]),
        buyer_reference=f"PO {chance.randint(1000, 9999)}" if row["type"] != "private" else "",
        unit_system="us",
        alkalinity_unit="dKH",
    )
    ClientAddress.objects.create(
        client=client,
        valid=DateRange(world.size.begins_on - timedelta(days=500), None),
        street=row["street"],
        city=row["city"],
        region=row["region"],
        postcode=row["postcode"],
    )
    name = _name(number, number * 7)
    Contact.objects.create(
        client=client,
        name=name,
        role="owner" if row["type"] == "private" else "accounts",
        email=f"{_slug(name)}@{_slug(client.name)}.example",
        phone=f"+1 615 555 01{number % 100:02}",
        gets_invoices=True,
        gets_reports=row["type"] == "private",
    )
    return client


def _name(first: int, last: int) -> str:
    firsts, lasts = NAMES["first"], NAMES["last"]
    return f"{firsts[first % len(firsts)]} {lasts[last % len(lasts)]}"


def _slug(text: str) -> str:
    return "".join(letter for letter in text.lower() if letter.isascii() and letter.isalnum())[:24]


def _site(client: Client, row: dict[str, Any], index: int) -> Site:
    return Site.objects.create(
        client=client,
        name=row["site"],
        street=row["street"],
        city=row["city"],
        region=row["region"],
        postcode=row["postcode"],
        latitude=row["latitude"],
        longitude=row["longitude"],
        time_zone="America/New_York" if row["depot"] in {"chattanooga", "knoxville"} else "America/Chicago",
        holiday_region=f"US-{row['region']}",
        access_notes=NOTES[row["windows"]],
        parking_notes=PARKING[index % len(PARKING)],
        phone=f"+1 615 555 01{(index * 3 + 30) % 100:02}",
    )


def _access(world: World, place: Place, index: int) -> None:
    site = place.site
    AccessWindow.objects.bulk_create(
        [
            AccessWindow(site=site, weekday=day, opens=time.fromisoformat(opens), closes=time.fromisoformat(closes))
            for days, opens, closes in WINDOWS[place.windows]
            for day in days
        ]
    )
    name = _name(index * 3 + 5, index * 11 + 2)
    Contact.objects.create(
        client=site.client,
        site=site,
        name=name,
        role={"home": "housekeeper", "hotel": "duty manager", "museum": "curator"}.get(place.windows, "facilities"),
        email=f"{_slug(name)}@{_slug(site.client.name)}.example",
        phone=site.phone,
        gets_reports=place.windows != "home",
    )
    chance = world.size.rng("access", index)
    if place.windows in {"home", "office", "night"}:
        holder = world.team(place.depot)[0].user
        SiteKey.objects.create(
            site=site,
            label="Service door",
            holder=holder if index % 2 else None,
            kept_at="" if index % 2 else "key safe of the store",
        )
    if place.windows in {"home", "night", "clinic"}:
        GateCode.objects.create(
            site=site,
            label="Gate" if place.windows == "home" else "Service door",
            secret=f"{chance.randint(1000, 9999)}#",
        )
    _closures(world, place, index)


def _closures(world: World, place: Place, index: int) -> None:
    """Works holidays: one behind, and for some sites one in the coming weeks."""
    monday = world.size.monday
    if place.windows in {"office", "museum"} and index % 3 == 0:
        Closure.objects.create(
            site=place.site,
            first_day=monday + timedelta(days=29),
            last_day=monday + timedelta(days=33),
            reason="closed for stocktaking",
        )
    if index % 7 == 3:
        Closure.objects.create(
            site=place.site,
            first_day=monday - timedelta(days=97),
            last_day=monday - timedelta(days=92),
            reason="renovation",
        )


def agreements_make(world: World) -> None:
    """One agreement a site: cadence, days, fee; prices rose at the turn of the history's half."""
    for index, place in enumerate(world.places):
        team = world.team(place.depot)
        wanted = next((who for who in team if who.initials == place.carer), None)
        place.technician = wanted or (
            team[1] if place.windows == "night" and len(team) > 1 else team[index % len(team)]
        )
        place.agreement = _agreement(world, place, index)
    _for_two(world)
    prefetch_related_objects([place.site for place in world.places], "closures", "access_windows")


def _for_two(world: World) -> None:
    """The longest weekly call of each of two stores begins with two people: the display is climbed into."""
    often = [
        place for place in world.places
        if place.cadence in {"weekly", "twice"} and place.windows != "night" and len(world.team(place.depot)) > 1
    ]  # fmt: skip
    longest: dict[str, Place] = {}
    for place in sorted(often, key=lambda row: (-row.minutes, row.site.pk)):
        longest.setdefault(place.depot, place)
    for place in list(longest.values())[:TWO_STORES]:
        if place.agreement is not None:
            place.agreement.people_needed, place.agreement.second_person_min = 2, TOGETHER_MIN
            place.agreement.save(update_fields=["people_needed", "second_person_min"])


def _agreement(world: World, place: Place, index: int) -> Agreement:
    size, (cadence, sold) = world.size, CADENCES[place.cadence]
    rule = to_rule(cadence(place.weekday))
    starts = size.begins_on - timedelta(days=14)
    phase = timedelta(weeks=index % 2 if place.cadence == "biweekly" else 0)
    first = expand(rule, starts + phase, starts, starts + timedelta(days=60))[0]
    private = place.site.client.customer_type == Client.CustomerType.PRIVATE
    agreement = Agreement.objects.create(
        number=f"A{index + 1:05}",
        client=place.site.client,
        site=place.site,
        title="Reef care" if place.cadence != "monthly" else "Aquarium care",
        starts_on=starts,
        rule=rule,
        first_visit_on=max(first, starts),
        allowed_weekdays=[] if place.windows in EVERY_DAY or private else [0, 1, 2, 3, 4],
        slack_days_before=0 if place.cadence == "twice" else 1,
        slack_days_after=1 if place.cadence in {"twice", "weekly"} else 3,
        duration_min=place.minutes,
        preferred_technician=place.technician.user if place.technician else None,
        holiday_rule=Agreement.DayRule.KEEP if place.windows in {"hotel", "museum"} else Agreement.DayRule.EARLIER,
        closure_rule=Agreement.DayRule.EARLIER if index % 4 else Agreement.DayRule.SKIP,
        visits_sold_per_year=sold,
        included_labour_min=place.minutes + 45,
    )
    fee = Decimal(round((45 + place.minutes * 1.25) / 5) * 5)
    half = size.begins_on + timedelta(weeks=size.weeks // 2)
    AgreementPrice.objects.bulk_create(
        AgreementPrice(agreement=agreement, valid_from=day, fee=fee + rise, hourly_rate=rate, callout_fee=Decimal(85))
        for day, rise, rate in ((starts, Decimal(0), Decimal(92)), (half, Decimal(5), Decimal(95)))
    )
    return agreement

"""Installations from a table. A code that is in the books already is left as it stands.

Header: ``code``, ``name``, ``kind`` (reef_stony, soft_coral, fish_only, jellyfish), ``site`` (name), ``display_l``
and, if wanted, ``client`` (when two sites have one name), ``sump_l``, ``displacement_l``, ``evaporation_l_day``,
``started_on``, ``where``.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from uuid import NAMESPACE_URL, uuid5

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.clients.models import Site
from servicedesk.common.tables import Fate, fit, given, known, problems, wrong
from servicedesk.installations.models import Installation
from servicedesk.installations.services import installation_create
from servicedesk.people.models import User

REQUIRED = ("code", "name", "kind", "site", "display_l")
FIELDS = (
    "code", "name", "kind", "display_l", "sump_l", "displacement_l", "evaporation_l_day", "started_on", "where",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class InstallationRow:
    installation: Installation
    site: Site


def fates(rows: Iterable[dict[str, str]]) -> list[Fate]:
    """Judge every row without storing anything."""
    codes = {code.lower() for code in Installation.objects.values_list("code", flat=True)}
    sites: dict[str, list[Site]] = {}
    for site in Site.objects.filter(archived_at=None).select_related("client"):
        sites.setdefault(site.name.lower(), []).append(site)
    found = []
    for line, row in enumerate(rows, 2):
        cells = tuple(row.values())
        if row.get("code", "").strip().lower() in codes:
            found.append(known(line, cells))
            continue
        try:
            payload = InstallationRow(_installation(row), _site(row, sites))
        except ValidationError as error:
            found.append(wrong(line, cells, problems(error)))
            continue
        codes.add(payload.installation.code.lower())
        found.append(fit(line, cells, payload))
    return found


def _installation(row: dict[str, str]) -> Installation:
    installation = Installation(**given(row, FIELDS))
    installation.full_clean()
    return installation


def _site(row: dict[str, str], sites: dict[str, list[Site]]) -> Site:
    name, client = row.get("site", "").strip(), row.get("client", "").strip().lower()
    fitting = [site for site in sites.get(name.lower(), []) if client in {"", site.client.name.lower()}]
    if not fitting:
        raise ValidationError({"site": [_("No site “%(site)s”.") % {"site": name}]})
    if len(fitting) > 1:
        raise ValidationError({"site": [_("Several sites are called that; add a column “client”.")]})
    return fitting[0]


@transaction.atomic
def store(found: Sequence[Fate], *, actor: User) -> int:
    """Store the fit installations, each once. Returns how many."""
    rows = [fate.payload for fate in found if isinstance(fate.payload, InstallationRow)]
    for row in rows:
        token = str(uuid5(NAMESPACE_URL, f"installation:{row.installation.code}"))
        installation_create(
            installation=row.installation, site=row.site, since=timezone.localdate(), token=token, actor=actor
        )
    return len(rows)

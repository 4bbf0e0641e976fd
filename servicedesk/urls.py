"""The URL table: one prefix per room."""

from django.urls import include, path

from servicedesk.common import health

urlpatterns = [
    path("healthz", health.healthz, name="healthz"),
    path("readyz", health.readyz, name="readyz"),
    path("", include("servicedesk.people.urls")),
    path("", include("servicedesk.clients.urls")),
    path("", include("servicedesk.installations.urls")),
    path("", include("servicedesk.consumables.urls")),
    path("", include("servicedesk.readings.urls")),
    path("", include("servicedesk.care.urls")),
    path("", include("servicedesk.worksheets.urls")),
    path("", include("servicedesk.visits.urls")),
    path("", include("servicedesk.routes.urls")),
    path("", include("servicedesk.billing.urls")),
    path("", include("servicedesk.stores.urls")),
    path("", include("servicedesk.people.outbox_urls")),
]

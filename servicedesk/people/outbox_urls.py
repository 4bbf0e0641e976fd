"""The outbox pages of the common room, behind people's access check."""

from django.urls import path

from servicedesk.common import views
from servicedesk.people.access import requires

app_name = "common"
guard = requires("outbox.see")
urlpatterns = [
    path("outbox/", guard(views.outbox), name="outbox"),
    path("outbox/<uuid:pk>/", guard(views.mail), name="mail"),
    path("outbox/<uuid:pk>/files/<int:number>/", guard(views.attachment), name="attachment"),
]

"""The outbox: what was sent, what waits, what failed. (Its access check is people's, given by the URL table.)"""

from uuid import UUID

from django.core.files.storage import default_storage
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from servicedesk.common.models import MailMessage

PAGE = 25


def outbox(request: HttpRequest) -> HttpResponse:
    page = Paginator(MailMessage.objects.all(), PAGE).get_page(request.GET.get("page"))
    return render(request, "common/outbox.html", {"page": page})


def mail(request: HttpRequest, pk: UUID) -> HttpResponse:
    return render(request, "common/mail.html", {"mail": get_object_or_404(MailMessage, pk=pk)})


def attachment(request: HttpRequest, pk: UUID, number: int) -> FileResponse:
    found = get_object_or_404(MailMessage, pk=pk)
    if number >= len(found.attachments):
        raise Http404
    row = found.attachments[number]
    return FileResponse(default_storage.open(row["storage_name"]), content_type=row["media_type"], filename=row["name"])

"""The web application for an ASGI server."""

import os

from django.core.asgi import get_asgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")

import servicedesk.celery  # noqa: F401 - jobs are sent by this process too

application = get_asgi_application()

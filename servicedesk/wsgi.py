"""The web application for gunicorn."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")

import servicedesk.celery  # noqa: F401 - jobs are sent by this process too

application = get_wsgi_application()

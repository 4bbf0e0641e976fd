# One image for web, worker and scheduler; the command chooses.
FROM python:3.11-slim AS base

ENV PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1 SALTROUND_CONTAINER=1 SALTROUND_SYSTEM_PYTHON=1 SALTROUND_VAR=/srv/var
RUN apt-get update \
    && apt-get install -y --no-install-recommends libpango-1.0-0 libpangoft2-1.0-0 curl \
    && rm -rf /var/lib/apt/lists/* \
    && useradd --create-home --uid 10001 saltround \
    && mkdir -p /srv/app /srv/var/static /srv/var/media \
    && chown -R saltround /srv/var

WORKDIR /srv/app
COPY requirements.lock .
RUN pip install --no-cache-dir --require-hashes -r requirements.lock
COPY manage.py ./
COPY servicedesk servicedesk
COPY templates templates
COPY static static
COPY fixtures fixtures
RUN SALTROUND_SECRET_KEY=only-to-collect-files python manage.py collectstatic --no-input

USER saltround
EXPOSE 8000
HEALTHCHECK --interval=15s --timeout=5s --start-period=40s CMD curl -fsS http://127.0.0.1:8000/healthz || exit 1
CMD ["gunicorn", "servicedesk.wsgi:application", "--bind", "0.0.0.0:8000", "--workers", "2", "--threads", "8", "--worker-class", "gthread"]

from django.apps import AppConfig


class SetupConfig(AppConfig):
    """Fills an empty desk: reference data, tables people bring, the demo firm."""

    name = "servicedesk.setup"

from django.apps import AppConfig


class InstallationsConfig(AppConfig):
    name = "servicedesk.installations"

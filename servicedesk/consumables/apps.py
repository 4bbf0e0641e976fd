from django.apps import AppConfig


class ConsumablesConfig(AppConfig):
    name = "servicedesk.consumables"

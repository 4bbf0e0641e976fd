from django.apps import AppConfig


class WorksheetsConfig(AppConfig):
    name = "servicedesk.worksheets"

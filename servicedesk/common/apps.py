from django.apps import AppConfig


class CommonConfig(AppConfig):
    name = "servicedesk.common"

    def ready(self) -> None:
        """Every process that may enqueue a job, commands too, knows the broker."""
        import servicedesk.celery  # noqa: F401 - making the application is its effect

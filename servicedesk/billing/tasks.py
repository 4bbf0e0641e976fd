from celery import shared_task

from servicedesk.billing import services
from servicedesk.billing.models import Invoice


@shared_task(name="billing.render_invoice")
def render_invoice(invoice_id: str) -> None:
    services.invoice_render(invoice=Invoice.objects.get(pk=invoice_id))


@shared_task(name="billing.sweep_invoices")
def sweep_invoices() -> None:
    services.invoices_render_missing()

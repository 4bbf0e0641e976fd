from django.urls import path

from servicedesk.billing import views

app_name = "billing"
urlpatterns = [
    path("accounts/", views.accounts, name="accounts"),
    path("accounts/tray/<slug:tray>/", views.accounts, name="tray"),
    path("accounts/reports/<uuid:pk>/", views.report, name="report"),
    path("accounts/reports/<uuid:pk>/send/", views.report_send, name="report-send"),
    path("accounts/reports/<uuid:pk>/file/", views.report_pdf, name="report-pdf"),
    path("accounts/bill/<int:pk>/", views.bill_client, name="bill-client"),
    path("accounts/bill/<int:pk>/draft/", views.invoice_draft, name="invoice-draft"),
    path("accounts/invoices/<uuid:pk>/", views.invoice, name="invoice"),
    path("accounts/invoices/<uuid:pk>/lines/", views.line_add, name="line-add"),
    path("accounts/invoices/<uuid:pk>/lines/<int:line>/remove/", views.line_remove, name="line-remove"),
    path("accounts/invoices/<uuid:pk>/issue/", views.invoice_issue, name="invoice-issue"),
    path("accounts/invoices/<uuid:pk>/discard/", views.invoice_discard, name="invoice-discard"),
    path("accounts/invoices/<uuid:pk>/send/", views.invoice_send, name="invoice-send"),
    path("accounts/invoices/<uuid:pk>/payments/", views.payment_add, name="payment-add"),
    path("accounts/invoices/<uuid:pk>/file/", views.invoice_pdf, name="invoice-pdf"),
]

from django.urls import path

from servicedesk.stores import loan_views, views

app_name = "stores"
urlpatterns = [
    path("stores/", views.stores, name="stores"),
    path("stores/receive/", views.receive, name="receive"),
    path("stores/items/new/", views.item_edit, name="item-new"),
    path("stores/items/<int:pk>/", views.item, name="item"),
    path("stores/items/<int:pk>/edit/", views.item_edit, name="item-edit"),
    path("stores/items/<int:pk>/move/", views.item_move, name="item-move"),
    path("stores/loans/", loan_views.loans, name="loans"),
    path("stores/loans/new/", loan_views.loan_edit, name="loan-new"),
    path("stores/loans/<int:machine>/", loan_views.loan, name="loan"),
    path("stores/loans/<int:machine>/edit/", loan_views.loan_edit, name="loan-edit"),
    path("stores/loans/<int:machine>/move/", loan_views.loan_move, name="loan-move"),
    path("stores/loans/<int:machine>/reserve/", loan_views.loan_reserve, name="loan-reserve"),
    path("stores/loans/<int:machine>/archive/", loan_views.loan_archive, name="loan-archive"),
    path("stores/loans/kept/<uuid:reservation>/end/", loan_views.reservation_end, name="loan-reservation-end"),
    path("stores/reminders/<uuid:pk>/ordered/", views.reminder_ordered, name="reminder-ordered"),
]

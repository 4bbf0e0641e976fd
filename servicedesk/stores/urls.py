from django.urls import path

from servicedesk.stores import views

app_name = "stores"
urlpatterns = [
    path("stores/", views.stores, name="stores"),
    path("stores/receive/", views.receive, name="receive"),
    path("stores/items/new/", views.item_edit, name="item-new"),
    path("stores/items/<int:pk>/", views.item, name="item"),
    path("stores/items/<int:pk>/edit/", views.item_edit, name="item-edit"),
    path("stores/items/<int:pk>/move/", views.item_move, name="item-move"),
    path("stores/reminders/<uuid:pk>/ordered/", views.reminder_ordered, name="reminder-ordered"),
]

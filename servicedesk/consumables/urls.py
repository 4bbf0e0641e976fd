from django.urls import path

from servicedesk.consumables import views

app_name = "consumables"
urlpatterns = [
    path("agreements/<int:pk>/materials/", views.included, name="included"),
]

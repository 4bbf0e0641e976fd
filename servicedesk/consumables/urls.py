from django.urls import URLPattern

app_name = "consumables"
urlpatterns: list[URLPattern] = []

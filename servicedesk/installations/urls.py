from django.urls import URLPattern

app_name = "installations"
urlpatterns: list[URLPattern] = []

from django.urls import URLPattern

app_name = "common"
urlpatterns: list[URLPattern] = []

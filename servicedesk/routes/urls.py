from django.urls import URLPattern

app_name = "routes"
urlpatterns: list[URLPattern] = []

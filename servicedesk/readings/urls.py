from django.urls import path

from servicedesk.readings import views

app_name = "readings"
urlpatterns = [
    path("water/", views.water, name="water"),
    path("water/import/", views.import_readings, name="import"),
    path("water/<int:pk>/readings/", views.readings, name="readings"),
    path("water/<int:pk>/readings/new/", views.sampling_add, name="sampling-add"),
    path("water/<int:pk>/bands/", views.bands, name="bands"),
    path("water/<int:pk>/bands/fill/", views.bands_fill, name="bands-fill"),
    path("water/<int:pk>/bands/<slug:parameter>/", views.band_edit, name="band-edit"),
]

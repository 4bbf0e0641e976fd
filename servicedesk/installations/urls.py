from django.urls import path

from servicedesk.installations import views

app_name = "installations"
urlpatterns = [
    path("installations/", views.installations, name="installations"),
    path("installations/new/<int:site>/", views.installation_new, name="new"),
    path("installations/<int:pk>/", views.installation, name="installation"),
    path("installations/<int:pk>/edit/", views.installation_edit, name="edit"),
    path("installations/<int:pk>/archive/", views.installation_archive, name="archive"),
    path("installations/<int:pk>/move/", views.installation_move, name="move"),
    path("installations/<int:pk>/coverage/", views.coverage_set, name="coverage"),
    path("installations/<int:pk>/plant/", views.plant_add, name="plant-add"),
    path("installations/<int:pk>/animals/", views.animal_add, name="animal-add"),
    path("installations/animals/<int:pk>/", views.animal_edit, name="animal-edit"),
    path("plant/", views.plant, name="plant"),
    path("plant/<int:pk>/", views.plant_item, name="plant-item"),
    path("plant/<int:pk>/edit/", views.plant_edit, name="plant-edit"),
    path("plant/<int:pk>/services/", views.service_add, name="service-add"),
]

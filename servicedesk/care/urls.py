from django.urls import path

from servicedesk.care import views

app_name = "care"
urlpatterns = [
    path("water/<int:pk>/", views.installation, name="water"),
    path("water/<int:pk>/programme/", views.programme_edit, name="programme-edit"),
    path("water/<int:pk>/programme/versions/", views.programme_history, name="programme-history"),
    path("water/<int:pk>/additions/", views.addition_add, name="addition-add"),
]

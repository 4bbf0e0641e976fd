from django.urls import path

from servicedesk.worksheets import views

app_name = "worksheets"
urlpatterns = [
    path("worksheets/", views.index, name="index"),
    path("worksheets/reference/", views.reference, name="reference"),
    path("worksheets/kept/<uuid:pk>/", views.kept, name="kept"),
    path("worksheets/kept/<uuid:pk>/print/", views.kept_pdf, name="kept-pdf"),
    path("worksheets/kept/<uuid:pk>/withdraw/", views.withdraw, name="withdraw"),
    path("worksheets/instruments/<int:pk>/archive/", views.instrument_archive, name="instrument-archive"),
    path("worksheets/<slug:name>/", views.sheet, name="sheet"),
    path("worksheets/<slug:name>/answer/", views.answer, name="answer"),
    path("worksheets/<slug:name>/keep/", views.keep, name="keep"),
    path("worksheets/<slug:name>/remember/", views.remember, name="remember"),
    path("worksheets/<slug:name>/print/", views.print_sheet, name="print"),
]

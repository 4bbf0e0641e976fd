from django.urls import path

from servicedesk.visits.views import form, schedule, visit

app_name = "visits"
urlpatterns = [
    path("visits/sites/<int:site>/", schedule.site_visits, name="site-visits"),
    path("visits/sites/<int:site>/extra/", schedule.extra, name="extra"),
    path("visits/agreements/<int:pk>/", schedule.agreement_visits, name="agreement-visits"),
    path("visits/agreements/<int:pk>/length/", schedule.agreement_length, name="agreement-length"),
    path("visits/agreements/<int:pk>/retime/", schedule.agreement_retime, name="agreement-retime"),
    path("visits/<uuid:pk>/", visit.visit, name="visit"),
    path("visits/<uuid:pk>/cancel/", visit.cancel, name="cancel"),
    path("visits/<uuid:pk>/photos/<uuid:photo>/", visit.photo, name="photo"),
    path("visits/<uuid:pk>/report/<int:revision>/", visit.report_pdf, name="report-pdf"),
    path("visits/<uuid:pk>/correct/", visit.report_correct, name="report-correct"),
    path("visits/<uuid:pk>/start/", form.start, name="start"),
    path("visits/<uuid:pk>/form/", form.form, name="form"),
    path("visits/<uuid:pk>/form/<slug:step>/", form.form, name="form-step"),
    path("visits/<uuid:pk>/entries/", form.entry, name="entry"),
    path("visits/<uuid:pk>/uses/", form.use_add, name="use-add"),
    path("visits/<uuid:pk>/uses/<uuid:use>/remove/", form.use_remove, name="use-remove"),
    path("visits/<uuid:pk>/photos/", form.photo_add, name="photo-add"),
    path("visits/<uuid:pk>/sign/", form.sign, name="sign"),
    path("visits/<uuid:pk>/not-done/", form.not_done, name="not-done"),
]

from django.urls import path

from servicedesk.people.views import own, register

app_name = "people"
urlpatterns = [
    path("", own.home, name="home"),
    path("sign-in/", own.SignIn.as_view(), name="sign-in"),
    path("sign-out/", own.SignOut.as_view(), name="sign-out"),
    path("theme/", own.theme_set, name="theme-set"),
    path("settings/", own.settings, name="settings"),
    path("settings/password/", own.Password.as_view(), name="password"),
    path("settings/people/", register.people, name="people"),
    path("settings/people/new/", register.person_new, name="person-new"),
    path("settings/people/<int:pk>/", register.person, name="person"),
    path("settings/people/<int:pk>/edit/", register.person_edit, name="person-edit"),
    path("settings/people/<int:pk>/technician/", register.technician_edit, name="technician-edit"),
    path("settings/people/<int:pk>/hours/", register.hours_edit, name="hours-edit"),
    path("settings/people/<int:pk>/leave/", register.leave_add, name="leave-add"),
    path("settings/people/<int:pk>/leave/<int:leave>/remove/", register.leave_remove, name="leave-remove"),
    path("settings/people/<int:pk>/permissions/", register.permission_add, name="permission-add"),
    path("settings/firm/", register.firm, name="firm"),
    path("settings/lodgings/<int:pk>/archive/", register.lodging_archive, name="lodging-archive"),
    path("settings/<slug:kind>/", register.records, name="records"),
    path("settings/<slug:kind>/new/", register.record_edit, name="record-new"),
    path("settings/<slug:kind>/<int:pk>/", register.record_edit, name="record-edit"),
]

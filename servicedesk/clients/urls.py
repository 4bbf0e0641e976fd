from django.urls import path

from servicedesk.clients.views import agreements, clients, sites

app_name = "clients"
urlpatterns = [
    path("sites/", clients.sites, name="sites"),
    path("sites/<int:pk>/", sites.site, name="site"),
    path("sites/<int:pk>/edit/", sites.site_edit, name="site-edit"),
    path("sites/<int:pk>/archive/", sites.site_archive, name="site-archive"),
    path("sites/<int:pk>/windows/", sites.window_add, name="window-add"),
    path("sites/<int:pk>/windows/<int:window>/remove/", sites.window_remove, name="window-remove"),
    path("sites/<int:pk>/codes/<int:code>/show/", sites.code_show, name="code-show"),
    path("sites/<int:pk>/<slug:kind>/", sites.part_add, name="part-add"),
    path("sites/<int:pk>/<slug:kind>/<int:part>/remove/", sites.part_remove, name="part-remove"),
    path("clients/new/", clients.client_new, name="client-new"),
    path("clients/<int:pk>/", clients.client, name="client"),
    path("clients/<int:pk>/edit/", clients.client_edit, name="client-edit"),
    path("clients/<int:pk>/move/", clients.client_move, name="client-move"),
    path("clients/<int:pk>/archive/", clients.client_archive, name="client-archive"),
    path("clients/<int:pk>/contacts/", clients.contact_add, name="contact-add"),
    path("clients/<int:pk>/contacts/<int:contact>/archive/", clients.contact_archive, name="contact-archive"),
    path("clients/<int:client>/sites/new/", sites.site_edit, name="site-new"),
    path("clients/<int:client>/agreements/new/", agreements.agreement_edit, name="agreement-new"),
    path("agreements/preview/", agreements.preview, name="agreement-preview"),
    path("agreements/<int:pk>/", agreements.agreement, name="agreement"),
    path("agreements/<int:pk>/edit/", agreements.agreement_edit, name="agreement-edit"),
    path("agreements/<int:pk>/archive/", agreements.agreement_archive, name="agreement-archive"),
]

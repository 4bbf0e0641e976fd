"""Signing in, the start page of a role, own settings."""

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView, LogoutView, PasswordChangeView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse_lazy
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.people import services
from servicedesk.people.access import AuthedRequest, requires
from servicedesk.people.forms import OwnSettingsForm
from servicedesk.people.models import Role, User

START = (
    (Role.TECHNICIAN, "routes:my-round"),
    (Role.PLANNER, "routes:week-current"),
    (Role.OWNER, "routes:week-current"),
    (Role.LEAD_AQUARIST, "readings:water"),
    (Role.OFFICE, "billing:accounts"),
)
YEAR_S = 365 * 24 * 3600


@method_decorator(login_not_required, name="dispatch")
class SignIn(LoginView):
    template_name = "people/sign_in.html"
    redirect_authenticated_user = True


class SignOut(LogoutView):
    http_method_names = ["post", "options"]


class Password(PasswordChangeView):
    template_name = "people/password.html"
    success_url = reverse_lazy("people:settings")


@requires("home.see")
@require_GET
def home(request: AuthedRequest) -> HttpResponse:
    """The place where a person's day starts."""
    for role, name in START:
        if request.user.has_role(role):
            return redirect(name)
    return redirect("people:settings")


@login_not_required
@require_POST
def theme_set(request: HttpRequest) -> HttpResponse:
    """The light of the screen, kept for the person and for this device."""
    theme = request.POST.get("theme", "")
    if theme not in User.Theme.values:
        return HttpResponse(_("No such light."), status=400)
    if isinstance(request.user, User):
        services.theme_set(user=request.user, theme=theme)
    answer = HttpResponse(status=204) if request.headers.get("X-Quiet") else redirect("people:home")
    answer.set_cookie("theme", theme, max_age=YEAR_S, samesite="Lax", httponly=True)
    return answer


@requires("home.see")
@require_http_methods(["GET", "POST"])
def settings(request: AuthedRequest) -> HttpResponse:
    form = OwnSettingsForm(request.POST or None, instance=request.user)
    if request.method == "POST" and form.is_valid():
        services.own_settings_save(user=form.save(commit=False))
        messages.success(request, _("Kept."))
        return redirect("people:settings")
    return render(request, "people/settings.html", {"form": form}, status=422 if form.errors else 200)

"""Signing in and out, the first page, one's own account."""

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth import views as auth_views
from django.contrib.auth.forms import PasswordChangeForm
from django.shortcuts import redirect, render
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from shared.forms import attempt

from ..access import areas_of
from ..actions import amend_person, set_password
from ..addresses import address
from ..forms import OwnNameForm, SignInForm
from .parts import role_facts, roles_of


class SignIn(auth_views.LoginView):
    template_name = "sites/sign_in.html"
    form_class = SignInForm
    redirect_authenticated_user = True


class SignOut(auth_views.LogoutView):
    http_method_names = ["post", "options"]


@require_safe
def home(request):
    """Where a person's work begins: a supervisor's area, or the day at a site."""
    areas = list(areas_of(request.user)[:2])
    area = address("area_detail", areas[0].pk) if len(areas) == 1 else address("area_list") if areas else None
    return redirect(area or address("today") or "site_list")


@require_http_methods(["GET", "HEAD", "POST"])
def account(request):
    form = OwnNameForm(request.POST or None, instance=request.user)
    if form.is_valid():
        attempt(form, amend_person, by=request.user, person=request.user, changes=form.cleaned_data)
        if not form.errors:
            messages.success(request, "Saved.")
            return redirect("account")
    return render(request, "sites/account.html", {"form": form, "roles": role_facts(roles_of(request.user))})


@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def account_password(request):
    form = PasswordChangeForm(request.user, request.POST or None)
    form.fields[
        "new_password1"
    ].help_text = "At least ten characters. A few words that do not belong together are good."
    if form.is_valid():
        set_password(by=request.user, person=request.user, password=form.cleaned_data["new_password1"])
        update_session_auth_hash(request, request.user)
        messages.success(request, "Your new password holds from now on.")
        return redirect("home")
    return render(request, "sites/account_password.html", {"form": form, "temporary": request.user.password_temporary})

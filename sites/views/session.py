"""Signing in and out, the first page, one's own account."""

from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth import logout, update_session_auth_hash
from django.contrib.auth import views as auth_views
from django.http import HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from shared.bounds import number_in
from shared.request_slots import PASSWORDS, few

from ..access import areas_of, clock_of
from ..actions import change_password, record_sign_in
from ..addresses import address
from ..forms import ChangePasswordForm, SignInForm
from ..kitchen import DEVICE, IDLE, device_of
from ..known_devices import remember_device
from ..login_throttle import address_of, wrong_passwords
from ..models import KitchenPin
from ..password_links import mark_seen, to_be_told, used_links
from ..ranks import may_rename
from .parts import LOOKING_AT_PASSWORDS, former_names, name_facts, role_facts, roles_of, sign_in_rows

FORM = ["GET", "HEAD", "POST"]


@method_decorator(few(PASSWORDS, LOOKING_AT_PASSWORDS, ("POST",)), name="post")
class SignIn(auth_views.LoginView):
    template_name = "sites/sign_in.html"
    form_class = SignInForm

    @property
    def redirect_authenticated_user(self):
        """Whoever is in by a PIN may sign in with the password, which opens more."""
        return DEVICE not in self.request.session

    def get(self, request, *args, **kwargs):
        if "password" not in request.GET and not request.user.is_authenticated and device_of(request):
            return redirect("kitchen")
        return super().get(request, *args, **kwargs)

    def form_valid(self, form):
        person = form.get_user()
        logout(self.request)
        seen = {"known_device": form.known_device, "wrong_before": form.wrong_before}
        record_sign_in(by=person, address=address_of(self.request), **seen)
        signed_in = super().form_valid(form)
        if device_of(self.request):  # others stand at it next
            self.request.session.set_expiry(int(IDLE.total_seconds()))
        return remember_device(signed_in, self.request, person)

    def get_success_url(self):
        """By way of what was done to the person's password, until they say that they know of it."""
        onward = super().get_success_url()
        if not to_be_told(self.request.user):
            return onward
        return f"{reverse('account_password_told')}?{urlencode({'next': onward})}"


class SignOut(auth_views.LogoutView):
    http_method_names = ["post", "options"]


@require_safe
def home(request):
    """Where a person's work begins: a supervisor's area, or the day at a site."""
    areas = list(areas_of(request.user)[:2])
    area = address("area_detail", areas[0].pk) if len(areas) == 1 else address("area_list") if areas else None
    return redirect(area or address("today") or "site_list")


@require_safe
def account(request):
    zone = clock_of(request.user)
    return render(
        request,
        "sites/account.html",
        {
            "names": name_facts(request.user),
            "former": former_names(request.user, zone),
            "may_rename": may_rename(request.user, request.user),
            "roles": role_facts(roles_of(request.user)),
            "zone": zone,
            "sign_ins": sign_in_rows(request.user, zone),
            "wrong": wrong_passwords(request.user.email),
            "chosen": used_links(request.user).first(),
            "pin": KitchenPin.objects.filter(person=request.user).first(),
        },
    )


@sensitive_post_parameters()
@require_http_methods(FORM)
@few(PASSWORDS, LOOKING_AT_PASSWORDS, ("POST",))
def account_password(request):
    form = ChangePasswordForm(request, request.POST or None)
    if form.is_valid():
        change_password(by=request.user, password=form.cleaned_data["new_password1"])
        update_session_auth_hash(request, request.user)
        messages.success(request, "Your new password holds from now on.")
        return remember_device(redirect("home"), request, request.user)
    return render(request, "sites/account_password.html", {"form": form})


@require_http_methods(FORM)
def account_password_told(request):
    """Says by whose link a password was chosen, again at each sign-in until the person knows of it."""
    onward = request.GET.get("next", "")
    if not url_has_allowed_host_and_scheme(onward, {request.get_host()}, require_https=request.is_secure()):
        onward = reverse("home")
    if request.method == "POST":
        mark_seen(request.user, [number_in(pk) or 0 for pk in request.POST.getlist("link")])
        return HttpResponseRedirect(onward)
    links = to_be_told(request.user)
    if not links:
        return HttpResponseRedirect(onward)
    zone = clock_of(request.user)
    return render(request, "sites/account_password_told.html", {"links": links, "zone": zone})

"""What people fill in about sites, people and roles."""

from copy import copy
from zoneinfo import available_timezones

from django import forms
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm, SetPasswordForm
from django.utils.html import format_html

from shared.bounds import number_in
from shared.fields import ReasonField, ShownField
from shared.forms import SettingsChangeForm

from .choosing import NOT_CHOSEN, SiteOffer, choice_of, searched_menu, words_in
from .countries import country_choices
from .login_throttle import begin_anew, count_try
from .models import Area, Business, DecisionRule, Person, Role, Site

ZONES = sorted(z for z in available_timezones() if "/" in z and not z.startswith(("Etc/", "SystemV/"))) + ["UTC"]
WHAT_ROLES_DO = {
    Role.READER: "Reads everything at the site and prints records; writes nothing.",
    Role.COOK: "Also checks probes and records readings and what happened to a probe.",
    Role.MANAGER: "Also manages probes and limits and decides on readings in quarantine.",
    Role.SUPERVISOR: "Also signs cases, voids checks, and manages sites and people of the area.",
}
ROLE_CHOICES = [
    (role.value, format_html('{} <span class="hint">{}</span>', role.label.capitalize(), WHAT_ROLES_DO[role]))
    for role in Role
]


class SignInForm(AuthenticationForm):
    """When it is valid, `known_device` tells whether the person has signed in on the device before, and `wrong_before` how
    many wrong passwords were typed for them since they last signed in."""

    known_device, wrong_before = False, 0
    error_messages = {
        "invalid_login": "This e-mail and password do not belong together. Check both; your supervisor can give you a link "
        "to choose a new password.",
        "inactive": "This person may not sign in any more. Ask your supervisor.",
    }

    def clean(self):
        email = self.cleaned_data.get("username")
        if not email or not self.cleaned_data.get("password"):
            return self.cleaned_data
        counted = count_try(self.request, email)
        cleaned = super().clean()
        counted.was_right()
        self.known_device, self.wrong_before = counted.known_device, begin_anew(email)
        return cleaned


def _say_plainly(form: forms.Form) -> None:
    hint = "At least ten characters. A few words that do not belong together are good."
    form.fields["new_password1"].help_text = hint
    form.fields["new_password2"].label, form.fields["new_password2"].help_text = "The same again", ""


class ChangePasswordForm(PasswordChangeForm):
    """Guessing the old password, as at a page left open, is slowed like guessing to sign in."""

    def __init__(self, request, data=None):
        super().__init__(request.user, data)
        self._request = request
        _say_plainly(self)

    def clean_old_password(self):
        counted = count_try(self._request, self.user.email)
        old = super().clean_old_password()
        counted.was_right()
        return old


class DeviceForm(forms.Form):
    """Registers the very device on which it is sent."""

    after = ShownField()
    name = forms.CharField(
        label="Name of this device", max_length=60, help_text="Such as “Tablet at the pass”. The trail names it."
    )

    def __init__(self, *args, here, **kwargs):
        super().__init__(*args, **kwargs)
        self._here = here

    def clean(self):
        if self._here:
            raise forms.ValidationError(f"This device is registered already: {self._here.name}, {self._here.site}.")
        return super().clean()


class PinForm(forms.Form):
    """Guessing the password, as at a page left open, is slowed like guessing to sign in."""

    password = forms.CharField(
        label="Your password", widget=forms.PasswordInput(attrs={"autocomplete": "current-password"})
    )
    pin = forms.CharField(
        label="New PIN",
        max_length=8,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        help_text="4 to 8 digits that nobody would guess. It opens the work of your kitchen on the devices that stay there.",
    )
    again = forms.CharField(
        label="The same again",
        max_length=8,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    def __init__(self, request, data=None):
        super().__init__(data)
        self._request = request

    def clean_password(self):
        counted = count_try(self._request, self._request.user.email)
        if not self._request.user.check_password(self.cleaned_data["password"]):
            raise forms.ValidationError("This is not your password.")
        counted.was_right()
        return ""

    def clean_again(self):
        if self.cleaned_data["again"] != self.cleaned_data.get("pin"):
            raise forms.ValidationError("The two are not the same. Type the PIN twice.")
        return ""


class ChoosePasswordForm(SetPasswordForm):
    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        _say_plainly(self)


class SiteForm(forms.ModelForm):
    time_zone = forms.ChoiceField(
        initial="UTC", help_text="The clock by which days begin there, and that its records print."
    )

    country = forms.ChoiceField(
        required=False, help_text="For its public holidays, and for the rules that are offered first."
    )

    class Meta:
        model = Site
        fields = [
            "area",
            "name",
            "address",
            "time_zone",
            "country",
            "subdivision",
            "closed_on_holidays",
            "unit",
            "altitude_m",
            "paper",
            "closed",
        ]
        widgets = {"address": forms.Textarea(attrs={"rows": 3}), "unit": forms.RadioSelect, "paper": forms.RadioSelect}
        help_texts = {
            "altitude_m": "Above sea level. Water boils cooler higher up.",
            "subdivision": "Where it has holidays of its own: the ISO 3166-2 code after the hyphen, such as SCT.",
            "closed_on_holidays": "Nothing falls due there on them; it moves to the next open day.",
        }

    def __init__(self, *args, areas, instance=None, **kwargs):
        # The action compares with the site as it was, so the form fills a copy.
        super().__init__(*args, instance=copy(instance), **kwargs)
        self.fields["area"].queryset = areas
        self.fields["area"].empty_label = None
        known = self.instance.time_zone
        self.fields["time_zone"].choices = [(z, z.replace("_", " ")) for z in sorted({*ZONES, known})]
        self.fields["country"].choices = [("", "Not said"), *country_choices()]
        self.fields["closed"].label = "Closed for good"


class NewSiteForm(SiteForm):
    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        del self.fields["closed"]
        if not self.is_bound:
            self.fields["time_zone"].widget.attrs["data-browser-zone"] = True  # read by app.js


class AmendSiteForm(SettingsChangeForm, SiteForm):
    def __init__(self, *args, instance, **kwargs):
        super().__init__(*args, instance=instance, initial=self.shown(instance), **kwargs)


WHAT_RULES_DO = {
    DecisionRule.NON_BINARY: "The usual rule. A probe whose error is nearer to the edge than the uncertainty of its check "
    "may be used, and its next check falls due after a quarter of the time.",
    DecisionRule.GUARDED: "Strict: such a probe fails. A probe that passes is truly out of tolerance less than once in forty "
    "times; more good ones fail.",
    DecisionRule.SIMPLE: "Lenient: nothing is kept back. At the very edge every second pass is wrong.",
}
RULE_CHOICES = [
    (rule.value, format_html('{} <span class="hint">{}</span>', rule.label, WHAT_RULES_DO[rule]))
    for rule in DecisionRule
]


class BusinessForm(SettingsChangeForm, forms.ModelForm):
    decision_rule = forms.ChoiceField(
        label="When a probe is in tolerance",
        choices=RULE_CHOICES,
        widget=forms.RadioSelect,
        help_text="It holds for checks from now on; those recorded already keep the verdict they were given.",
    )

    class Meta:
        model = Business
        fields = ["name", "decision_rule", "reliability_target", "review_days"]
        help_texts = {
            "name": "It stands on every printed record.",
            "reliability_target": "From 50 to 99. Advice on how often to check is worked out for it.",
            "review_days": "From 1 to 30. A second person reads and signs the records of each day by then; 7 is usual.",
        }

    def __init__(self, *args, instance, **kwargs):
        # The action compares with the business as it was, so the form fills a copy.
        super().__init__(*args, instance=copy(instance), initial=self.shown(instance), **kwargs)
        self.fields["reason"].help_text = "Needed for another rule, and for a correction."


class AreaForm(forms.Form):
    business = forms.ModelChoiceField(queryset=None, empty_label=None)
    name = forms.CharField(max_length=120, help_text="Such as a town, or the supervisor's round.")

    def __init__(self, *args, businesses, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["business"].queryset = businesses
        if len(businesses) == 1:
            del self.fields["business"]


class PersonForm(forms.ModelForm):
    class Meta:
        model = Person
        fields = ["name", "initials", "email"]
        help_texts = {
            "name": "In full, as it is printed under what they record and sign.",
            "initials": "Up to six letters, for narrow columns of the record.",
            "email": "They sign in with it, and notices go there.",
        }

    def __init__(self, *args, instance=None, **kwargs):
        super().__init__(*args, instance=copy(instance), **kwargs)

    def clean_email(self):
        email = self.cleaned_data["email"].strip().lower()
        if Person.objects.filter(email=email).exclude(pk=self.instance.pk).exists():
            raise forms.ValidationError(
                "Somebody has this e-mail already. Look among the people, in your areas and in others, and give them a role."
            )
        return email


class EmailForm(PersonForm):
    class Meta(PersonForm.Meta):
        fields = ["email"]


class NameForm(forms.ModelForm):
    reason = forms.CharField(label="Why", max_length=200, help_text="Such as a marriage, or a slip in the spelling.")

    class Meta(PersonForm.Meta):
        fields = ["name", "initials"]

    def __init__(self, *args, instance, **kwargs):
        # The action compares with the person as they were, so the form fills a copy.
        super().__init__(*args, instance=copy(instance), **kwargs)


WHOLE_AREA = "All sites of an area"


def places(areas: list[Area], sites: list[Site]) -> list:
    """Choices of where a role is held."""
    return [
        ("One site", [choice_of(site, "place") for site in sites]),
        (WHOLE_AREA, [(f"area-{a.pk}", f"{a.name}, the whole area") for a in areas]),
    ]


class RoleForm(forms.Form):
    place = forms.ChoiceField(label="Where", help_text="A role for an area holds at all its sites, also at later ones.")
    role = forms.TypedChoiceField(coerce=int, choices=ROLE_CHOICES, widget=forms.RadioSelect, initial=Role.COOK.value)

    def __init__(self, *args, areas: list[Area], person: Person, **kwargs):
        super().__init__(*args, **kwargs)
        offer = SiteOffer(person, "supervised")
        many = offer.are_many()
        sites = self._asked(offer) if many else list(offer.sites().order_by("area__name", "name"))
        self._places = {f"area-{a.pk}": {"area": a} for a in areas} | {f"site-{s.pk}": {"site": s} for s in sites}
        self.fields["place"].choices = places(areas, sites)
        if many:
            menu = searched_menu(offer, self.data, "place")
            menu.keep(self.fields["place"].choices, NOT_CHOSEN)
            menu.besides = frozenset(f"area-{area.pk}" for area in areas)
            self.fields["place"].widget = menu
            self.fields["place"].error_messages["required"] = "Search for a site, and choose it, or choose an area."

    def _asked(self, offer: SiteOffer) -> list[Site]:
        """The sites that the words in the box find, and the one that was chosen."""
        number = number_in((self.data.get("place") or "").removeprefix("site-"))
        chosen = offer.sites().filter(pk=number) if number is not None else ()
        return list(dict.fromkeys([*chosen, *offer.search(words_in(self.data, "place"))]))

    def chosen(self) -> dict:
        """The role and its place, as `sites.actions.grant` takes them."""
        return {"role": self.cleaned_data["role"], **self._places[self.cleaned_data["place"]]}


class LinkForm(forms.Form):
    """Whether a link shall be made, by somebody who was shown which link is the newest."""

    after = forms.IntegerField(min_value=0, widget=forms.HiddenInput)


class FindForm(forms.Form):
    """Which people a list shows."""

    show = forms.ChoiceField(
        required=False,
        label="Who",
        choices=[("", "In my areas"), ("elsewhere", "In other areas"), ("stopped", "Not signing in")],
    )
    q = forms.CharField(required=False, max_length=80, label="Name or e-mail", widget=forms.SearchInput)


class ReasonForm(forms.Form):
    stops = ShownField()
    reason = ReasonField(usual="stop", max_length=200, help_text="It stays in the record.")

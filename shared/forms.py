"""How a form hands what was typed to an action, and tells what the action refused."""

from collections.abc import Callable
from typing import TypeVar

from django import forms
from django.contrib import messages
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from .dated import DatedModel
from .fields import CorrectsField, ReasonField, ShownField
from .stale_forms import Newer, newest

Result = TypeVar("Result")


class SettingsChangeForm(forms.Form):
    """Settings that are changed from now on, or corrected from the start; the fields that are set come from another form."""

    corrects = CorrectsField()
    reason = ReasonField(max_length=300, required=False, help_text="Needed for a correction.")
    after = ShownField()

    @staticmethod
    def shown(row: DatedModel) -> dict:
        """What the form brings back of the row that it changes."""
        return {"after": newest(row.settings_facts.all())}

    def change(self) -> dict:
        """The fields, the reason and the rest, as actions take them."""
        told = {name: self.cleaned_data[name] for name in SettingsChangeForm.base_fields}
        return {**told, "changes": {n: v for n, v in self.cleaned_data.items() if n not in told}}


def attempt(form: forms.BaseForm, act: Callable[..., Result], **given) -> Result | None:
    """Run an action; what it refuses becomes an error of the form (see `form.errors`), beside the field it names."""
    try:
        return act(**given)
    except ValidationError as refused:
        for name, errors in _by_field(refused).items():
            form.add_error(name if name in form.fields else None, errors)
        if isinstance(refused, Newer):  # whoever was told of it may send what was typed again
            form.data = form.data.copy()
            form.data["after"] = refused.after
        return None


def tell(request: HttpRequest, done: str, act: Callable, **given) -> None:
    """Run an action that one button asks for; the next page says that it is done, or what the action refused."""
    try:
        act(by=request.user, **given)
    except ValidationError as refused:
        messages.error(request, " ".join(refused.messages))
    else:
        messages.success(request, done)


def form_page(request: HttpRequest, template: str, form: forms.BaseForm, **told) -> HttpResponse:
    """The page of a form that was not sent yet, or with what is wrong with what was sent."""
    return render(request, template, {"form": form, **told}, status=422 if form.is_bound else 200)


def _by_field(refused: ValidationError) -> dict[str, list[ValidationError]]:
    return refused.error_dict if hasattr(refused, "error_dict") else {NON_FIELD_ERRORS: refused.error_list}

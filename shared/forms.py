"""How a form hands what was typed to an action, and tells what the action refused."""

from collections.abc import Callable
from typing import TypeVar

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError

from .stale_forms import Newer

Result = TypeVar("Result")


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


def _by_field(refused: ValidationError) -> dict[str, list[ValidationError]]:
    return refused.error_dict if hasattr(refused, "error_dict") else {NON_FIELD_ERRORS: refused.error_list}

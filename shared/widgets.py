"""Form widgets of our own."""

from django import forms


class TapNumber(forms.TextInput):
    """A large box for one number from a display, its unit beside it, and a key for the sign where a phone has none.

    It stays a text box: people type a comma, a point or any minus sign, and `shared.units.parse` reads them all.
    """

    template_name = "django/forms/widgets/tap_number.html"

    def __init__(self, unit: str = "", attrs: dict[str, object] | None = None, *, signed: bool = True) -> None:
        super().__init__({"inputmode": "decimal", "autocomplete": "off", "enterkeyhint": "done", **(attrs or {})})
        self.unit, self.signed = unit, signed

    def get_context(self, name, value, attrs):
        context = super().get_context(name, value, attrs)
        context["widget"].update(unit=self.unit, signed=self.signed)
        return context


class Suggested(forms.TextInput):
    """A text box that offers words."""

    template_name = "django/forms/widgets/suggested.html"

    def __init__(self, words, attrs=None):
        super().__init__({"autocomplete": "off", **(attrs or {})})
        self.words = words

    def get_context(self, name, value, attrs):
        context = super().get_context(name, value, attrs)
        list_id = f"{context['widget']['attrs'].get('id', name)}_words"
        context["widget"]["attrs"]["list"] = list_id
        context["widget"].update(words=self.words, list_id=list_id)
        return context

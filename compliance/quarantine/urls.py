from django.urls import path, register_converter

from . import views


class AnchorConverter:
    """What began a case, as an address shows it: check-12 or event-5."""

    regex = "(?:check|event)-[0-9]{1,18}"

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: str) -> str:
        return value


register_converter(AnchorConverter, "anchor")

urlpatterns = [
    path("quarantine/", views.case_list, name="case_list"),
    path("quarantine/<anchor:slug>/", views.case_detail, name="case_detail"),
    path("quarantine/<anchor:slug>/decide/", views.case_decide, name="case_decide"),
    path("quarantine/<anchor:slug>/sign/", views.case_sign, name="case_sign"),
]

"""Every address of the application; each feature keeps its own."""

from django.urls import include, path

urlpatterns = [
    path("", include("sites.urls")),
    path("", include("compliance.checks.urls")),
    path("", include("compliance.limits.urls")),
    path("", include("compliance.readings.urls")),
    path("", include("compliance.quarantine.urls")),
    path("", include("compliance.reminders.urls")),
    path("", include("compliance.advice.urls")),
    path("", include("compliance.reviews.urls")),
    path("", include("compliance.notices.urls")),
    path("", include("compliance.records.urls")),
    path("", include("compliance.overview.urls")),
    path("", include("compliance.phone.urls")),
    path("", include("compliance.service.urls")),
]

handler500 = "compliance.service.unavailable.broken"

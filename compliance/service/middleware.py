"""What is done around every request: the health page before all else."""

from django.urls import reverse

from .views import health


def health_first(get_response):
    """The health page needs no session, and must come even while the database that keeps sessions hangs."""

    def middleware(request):
        return health(request) if request.path == reverse("health") else get_response(request)

    return middleware

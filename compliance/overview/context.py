"""What every page shows around its own content."""


def navigation(request):
    return {"nav": []}

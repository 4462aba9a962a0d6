"""Addresses of pages on the floors above, asked for by name."""

from django.urls import NoReverseMatch, reverse


def address(name: str, *args) -> str | None:
    """Where the page of this name is; None where the application has no such page."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return None

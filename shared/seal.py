"""The seal: a mark on what our templates have HTMX act on, which nobody else can make.

What somebody typed is escaped, and so never becomes an element. Should a page fail to do so, an element that came of it does not
carry the seal of whoever looks at the page, and shared/static/noughtbook/app.js keeps HTMX from acting on it.
"""

from django.utils.crypto import salted_hmac


def seal_of(person) -> str:
    """The same in all pages of a person, so that a part that is fetched later fits the page that it comes into."""
    return salted_hmac("noughtbook.seal", str(person.pk)).hexdigest()[:22] if person.is_authenticated else ""

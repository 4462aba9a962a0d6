"""Static files by names that carry a hash of what is in them, which browsers keep for a year and ask for no more.

The names are worked out from the files as they lie in the tree, so that no update has a step that could be forgotten.
"""

from functools import cache
from hashlib import md5
from pathlib import Path
from posixpath import splitext

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import StaticFilesStorage
from whitenoise.middleware import WhiteNoiseMiddleware


@cache
def hashed_name(name: str) -> str:
    path = finders.find(name)
    if path is None:
        return name
    (stem, suffix), content = splitext(name), Path(path).read_bytes()
    return f"{stem}.{md5(content, usedforsecurity=False).hexdigest()[:12]}{suffix}"


class HashedNames(StaticFilesStorage):
    """Gives `{% static %}` the hashed names; the plain ones in DEBUG, where files change while the program runs."""

    def url(self, name: str) -> str:
        return super().url(name if settings.DEBUG else hashed_name(name))


class StaticFiles(WhiteNoiseMiddleware):
    """Serves each file by its hashed name too. WhiteNoise asks `HashedNames` which names may be kept."""

    FOREVER = 365 * 24 * 3600  # seconds

    def add_file_to_dictionary(self, url, path, stat_cache=None):
        super().add_file_to_dictionary(url, path, stat_cache)
        kept = self.get_static_url(url.removeprefix(self.static_prefix))
        super().add_file_to_dictionary(kept, path, stat_cache)

    def __call__(self, request):
        """A page from before an update gets what there is now, for a minute."""
        current = self.files.get(self.get_name_without_hash(request.path_info))
        if current is None or request.path_info in self.files:
            return super().__call__(request)
        return self.serve(current, request)

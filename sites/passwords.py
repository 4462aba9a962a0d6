"""What is no password, besides one that is short or common."""

import unicodedata

from django.contrib.auth.password_validation import UserAttributeSimilarityValidator
from django.core.exceptions import ValidationError

FEWEST = 4


class UnlikeOneself(UserAttributeSimilarityValidator):
    """Refuses one's own name and e-mail. Django compares words and the whole; the part before the @ is neither."""

    def __init__(self):
        super().__init__(user_attributes=("email", "mailbox", "name"))

    def get_error_message(self):
        return "This is too much like your own name or e-mail. A few words that do not belong together are good."


class VisibleCharacters:
    """Refuses blanks, one sign over and over, and what no keyboard types, such as NUL."""

    def validate(self, password, user=None):
        kinds = {character: unicodedata.category(character)[0] for character in password}
        if any(unicodedata.category(character) == "Cc" for character in kinds):
            raise ValidationError("This holds a character that cannot be typed. Leave it out.", code="control")
        if sum(kind in "LMNPS" for kind in kinds.values()) < FEWEST:
            raise ValidationError("Use at least four different letters, digits or signs.", code="blank")

    def get_help_text(self):
        return "At least four different letters, digits or signs."

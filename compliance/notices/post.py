"""Django's mail by SMTP, that remembers what the server said when it took a message over."""

import smtplib

from django.core.mail.backends import smtp


class _Remembering:
    taken_with = (0, b"")

    def data(self, msg):
        self.taken_with = super().data(msg)
        return self.taken_with


class _Plain(_Remembering, smtplib.SMTP):
    pass


class _Secure(_Remembering, smtplib.SMTP_SSL):
    pass


class EmailBackend(smtp.EmailBackend):
    @property
    def connection_class(self):
        return _Secure if self.use_ssl else _Plain

    @property
    def answer(self) -> str:
        """The answer to the last message, such as "250 2.0.0 Taken"."""
        code, said = getattr(self.connection, "taken_with", (0, b""))
        return f"{code} {said.decode(errors='replace')}" if code else ""

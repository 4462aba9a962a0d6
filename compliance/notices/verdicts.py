"""What becomes of a notice after the mail server's answer, and when it is tried again. No database, no clock."""

import random
import smtplib
from dataclasses import dataclass
from datetime import timedelta

UNCLEAR = 6  # tries on end that nobody knows the end of: each of them may have been a letter
KEEP_TRYING = timedelta(days=5)  # RFC 5321, 4.5.4.1: "generally needs to be at least 4-5 days"
TOO_LARGE = 552  # RFC 1870, 6.1: said of the message, at MAIL FROM
FIRST_WAIT, LONGEST_WAIT = timedelta(minutes=1), timedelta(hours=4)
AWAY = timedelta(minutes=15)  # at most, until a server that did not answer is asked again


@dataclass(frozen=True, slots=True)
class Verdict:
    """`final`: trying again is of no use. `gone`: the server itself does not answer, so no other mail need be tried now."""

    said: str
    final: bool = False
    gone: bool = False


def verdict(error: Exception) -> Verdict:
    """RFC 5321, 4.2.1: 4yz may be tried again unchanged, 5yz may not. Whatever is wrong with the server, and not with the
    notice, is tried again: no connection, no answer, a wrong password, a sender that it
    does not take."""
    code, said = _answer(error)
    if isinstance(error, smtplib.SMTPConnectError | smtplib.SMTPHeloError | smtplib.SMTPAuthenticationError):
        return Verdict(said, gone=True)
    if (
        isinstance(error, smtplib.SMTPSenderRefused) and code != TOO_LARGE
    ):  # ours, not the notice's: it can be put right
        return Verdict(said, gone=True)
    if code == 421:  # RFC 5321, 3.8: it closes the connection
        return Verdict(said, gone=True)
    if code:
        return Verdict(said, final=500 <= code < 600)
    if isinstance(error, smtplib.SMTPNotSupportedError) and "SMTPUTF8" in str(error):  # the address needs it
        return Verdict(said, final=True)
    if isinstance(error, OSError):  # SMTPException is one, and so are timeouts, refused connections, unknown hosts
        return Verdict(said, gone=True)
    return Verdict(said)


def _answer(error: Exception) -> tuple[int, str]:
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, text = next(iter(error.recipients.values()))
    elif isinstance(error, smtplib.SMTPResponseException):
        code, text = error.smtp_code, error.smtp_error
    else:
        return 0, f"No answer: {type(error).__name__} {error}".strip()
    said = text.decode(errors="replace") if isinstance(text, bytes) else str(text)
    return (code, plain(f"{code} {said}")) if code > 0 else (0, plain(said))


def plain(said: str) -> str:
    """What a mail server said without characters that no text has; PostgreSQL takes no NUL."""
    return said.replace("\x00", " ")


def wait(attempts: int, chance: random.Random | None = None, gone: bool = False) -> timedelta:
    """How long after this many tries the next one comes: twice as long each time, a quarter more or less by chance, so that
    many do not come back together; less long where it is the server that is `gone`."""
    doubled = FIRST_WAIT * 2 ** min(attempts - 1, 10) if attempts > 1 else FIRST_WAIT
    return min(doubled, AWAY if gone else LONGEST_WAIT) * (chance or random).uniform(0.75, 1.25)

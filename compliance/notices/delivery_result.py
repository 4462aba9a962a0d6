"""What became of an attempt to deliver a mail, and how long the next one waits. No database, no clock."""

import smtplib
from dataclasses import dataclass
from datetime import timedelta

from celery.exceptions import SoftTimeLimitExceeded

KEEP_TRYING = timedelta(days=5)  # RFC 5321, 4.5.4.1: "generally needs to be at least 4-5 days"
MOST_UNCLEAR = 6  # attempts on end of which nobody knows the outcome: each of them may have been a letter
TOO_LARGE = 552  # RFC 1870, 6.1: said of the message, at MAIL FROM
FIRST_PAUSE, LONGEST_PAUSE = timedelta(minutes=1), timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class DeliveryResult:
    """`final`: trying again is of no use. `unclear`: the server may have taken it. `stop`: it takes no other mail now either."""

    answer: str
    sent: bool = False
    final: bool = False
    unclear: bool = False
    stop: bool = False


def result_of(error: Exception) -> DeliveryResult:
    """RFC 5321, 4.2.1: 4yz may be tried again unchanged, 5yz may not. Whatever is wrong with the server, or with the sender that
    it does not take, and not with the notice, is tried again."""
    code, answer = answer_of(error)
    if code:
        server = code == 421 or (isinstance(error, smtplib.SMTPSenderRefused) and code != TOO_LARGE)
        return DeliveryResult(answer, final=500 <= code < 600 and not server, stop=server)
    if isinstance(error, smtplib.SMTPNotSupportedError):  # the address needs what the server has not: SMTPUTF8
        return DeliveryResult(answer, final=True)
    silent = isinstance(error, OSError | SoftTimeLimitExceeded)  # SMTPException is an OSError, and so are time-outs
    return DeliveryResult(answer, unclear=silent, stop=silent)


def answer_of(error: Exception) -> tuple[int, str]:
    """The code, 0 if there is none, and the words, without characters that no text has: PostgreSQL takes no NUL."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, text = next(iter(error.recipients.values()))
    elif isinstance(error, smtplib.SMTPResponseException):
        code, text = error.smtp_code, error.smtp_error
    else:
        return 0, f"No answer: {type(error).__name__} {error}".strip().replace("\x00", " ")
    answer = (text.decode(errors="replace") if isinstance(text, bytes) else str(text)).replace("\x00", " ")
    return (code, f"{code} {answer}") if code > 0 else (0, answer)


def pause(attempts: int) -> timedelta:
    """How long the next attempt waits after so many: twice as long each time, an hour at most."""
    return min(FIRST_PAUSE * 2 ** min(attempts - 1, 10), LONGEST_PAUSE)
